"""A file on its way in: no more of it is written than it may have, and the page can say what was wrong."""

import io
import socket
import tempfile
from pathlib import Path

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.core.files.uploadhandler import TemporaryFileUploadHandler
from django.test import Client, RequestFactory, override_settings
from django.urls import reverse

from portfolio.documents import UploadRefused, accept
from portfolio.models import Document
from tests.factories import make_agency, make_home, make_user, signed_in
from tests.portfolio.test_documents import pdf

MB = 2**20


@pytest.fixture(scope="session", autouse=True)
def _plain_http():
    """The server of the last test starts before the settings of any one test do."""
    with override_settings(SECURE_SSL_REDIRECT=False):
        yield


@pytest.fixture
def posted():
    """Makes a request as the parser reads it, with our handlers."""
    made = []

    def post(*files: SimpleUploadedFile):
        made.append(RequestFactory().post("/", {"first": "1", "upload": list(files), "last": "2"}))
        return made[-1]

    yield post
    for request in made:
        request.close()


@pytest.fixture
def written(monkeypatch):
    """Bytes given to the handler that writes to disk."""
    sizes: list[int] = []
    write = TemporaryFileUploadHandler.receive_data_chunk

    def counted(self, raw_data, start):
        sizes.append(len(raw_data))
        return write(self, raw_data, start)

    monkeypatch.setattr(TemporaryFileUploadHandler, "receive_data_chunk", counted)
    return sizes


def test_a_file_far_too_large_is_written_no_further_than_its_limit(posted, written, monkeypatch, tmp_path):
    monkeypatch.setattr(tempfile, "tempdir", str(tmp_path))
    request = posted(SimpleUploadedFile("film.mp4", bytes(50 * MB)))
    (upload,) = request.FILES.getlist("upload")
    assert sum(written) <= 20 * MB
    assert list(Path(tmp_path).iterdir()) == []
    assert (upload.name, upload.read()) == ("film.mp4", b"")
    with pytest.raises(UploadRefused, match="The file is 50 MB; the limit is 20 MB"):
        accept(upload)
    assert (request.POST["first"], request.POST["last"]) == ("1", "2")


def test_the_files_beside_one_too_large_arrive_whole(posted, settings):
    settings.UPLOAD_MAX_BYTES = 3 * MB
    good = pdf()
    request = posted(*(SimpleUploadedFile(f"{n}.pdf", c) for n, c in enumerate((good, bytes(4 * MB), good))))
    first, large, last = request.FILES.getlist("upload")
    assert accept(first).content == accept(last).content == good
    assert large.size == 4 * MB


@pytest.mark.parametrize(("size", "whole"), [(MB - 1, True), (MB, True), (MB + 1, False)])
def test_the_limit_itself_is_allowed(posted, settings, size, whole):
    settings.UPLOAD_MAX_BYTES = MB
    (upload,) = posted(SimpleUploadedFile("a.pdf", bytes(size))).FILES.getlist("upload")
    assert upload.size == size
    assert (upload.read() == bytes(size)) is whole


@pytest.mark.django_db
def test_a_request_too_large_as_a_whole_is_not_read_at_all():
    user = make_user(make_agency())
    client = Client(enforce_csrf_checks=True)
    client.force_login(user)
    client.get(reverse("homes"))  # whose log-out button brings the cookie of forms
    response = client.generic(
        "POST",
        reverse("homes"),
        b"x",
        content_type="multipart/form-data; boundary=x",
        CONTENT_LENGTH=101 * MB,
    )
    assert response.status_code == 400
    assert "too much at once" in response.content.decode()


def body(content: bytes, csrf: str) -> bytes:
    out = io.BytesIO()
    out.write(b'--x\r\nContent-Disposition: form-data; name="csrfmiddlewaretoken"\r\n\r\n' + csrf.encode())
    out.write(b'\r\n--x\r\nContent-Disposition: form-data; name="upload"; filename="a.pdf"\r\n\r\n' + content)
    return out.getvalue() + b"\r\n--x--\r\n"


@pytest.mark.django_db(transaction=True)
def test_an_upload_broken_off_on_the_way_leaves_nothing_and_the_next_one_works(live_server):
    agency = make_agency()
    paper = make_home(agency).certificates.order_by("pk")[0]
    client = signed_in(make_user(agency))
    address = reverse("document_add", args=[paper.pk])
    client.get(address)
    csrf = client.cookies["csrftoken"].value
    cookies = "; ".join(f"{name}={morsel.value}" for name, morsel in client.cookies.items())
    sent = body(pdf(pages=40), csrf)
    host, port = live_server.thread.host, live_server.thread.port

    def send(part: bytes) -> bytes:
        head = (
            f"POST {address} HTTP/1.0\r\nHost: {host}:{port}\r\nCookie: {cookies}\r\n"
            f"Content-Type: multipart/form-data; boundary=x\r\nContent-Length: {len(sent)}\r\n\r\n"
        )
        with socket.create_connection((host, port), timeout=20) as wire:
            wire.sendall(head.encode() + part)
            wire.shutdown(socket.SHUT_WR)
            return b"".join(iter(lambda: wire.recv(65536), b""))

    for share in (0.3, 0.6, 0.95):
        assert b" 302 " not in send(sent[: int(len(sent) * share)]).split(b"\r\n")[0]
        assert not Document.objects.exists()
    assert b" 302 " in send(sent).split(b"\r\n")[0]
    assert Document.objects.count() == 1
