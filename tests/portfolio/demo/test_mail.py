"""The demonstration's post office and the pages of what it kept."""

import smtplib
import sys
from collections.abc import Iterator
from email.message import EmailMessage
from pathlib import Path
from subprocess import Popen

import pytest
from django.test import Client
from django.urls import NoReverseMatch, reverse
from pytest_django import Settings

from portfolio.demo import mail, programs
from tests.factories import make_agency, make_user
from tests.processes import wait_until

RAW = b"X-Envelope-To: ann@example.org\r\nSubject: Gas check due\r\nFrom: sneck@example.org\r\n"
NAME = "20261125T090000000000-0a0b0c0d"


def keep(folder: Path, name: str, raw: bytes) -> None:
    folder.mkdir(parents=True, exist_ok=True)
    (folder / f"{name}.eml").write_bytes(raw)


@pytest.fixture
def post_office(tmp_path: Path) -> Iterator[int]:
    port = programs.free_port()
    process = Popen([sys.executable, "-m", "portfolio.demo.mailsink", str(tmp_path), str(port)])
    program = programs.post_office(port)
    wait_until(program.ready)
    yield port
    process.terminate()
    assert process.wait(10) == 0


def test_every_message_is_kept_as_it_came(post_office: int, tmp_path: Path) -> None:
    message = EmailMessage()
    message["Subject"], message["From"], message["To"] = (
        "Révision — 25 November",
        "a@example.org",
        "b@example.org",
    )
    message.set_content("The boiler is safe.\n.\nA line that begins with a dot came before.")
    message.add_alternative("<p>The boiler is <b>safe</b>.</p>", subtype="html")
    message.add_attachment(b"%PDF-", maintype="application", subtype="pdf", filename="record.pdf")
    with smtplib.SMTP("127.0.0.1", post_office) as client:
        for _ in range(3):
            client.send_message(message, to_addrs=["b@example.org", "hidden@example.org"])
    assert len(mail.names(tmp_path)) == 3
    kept = mail.read(tmp_path, mail.names(tmp_path)[0])
    assert (kept.subject, kept.recipients) == ("Révision — 25 November", "b@example.org, hidden@example.org")
    assert "\n.\n" in kept.text.replace("\r\n", "\n")
    assert "<b>safe</b>" in kept.html_source
    assert kept.attachments == ("record.pdf",)


def test_names_are_newest_first_and_only_ours(tmp_path: Path) -> None:
    for name in (NAME, "20261126T090000000000-00000000", "notes"):
        keep(tmp_path, name, RAW)
    (tmp_path / "20261127T090000000000-00000000.part").write_bytes(b"half a mess")
    assert mail.names(tmp_path) == ["20261126T090000000000-00000000", NAME]


@pytest.mark.parametrize("name", ["../secret-key", "..", "20261125T090000000000-ffffffff", "notes"])
def test_other_files_cannot_be_read_through_it(tmp_path: Path, name: str) -> None:
    keep(tmp_path, "notes", RAW)
    with pytest.raises(FileNotFoundError):
        mail.read(tmp_path, name)


@pytest.mark.parametrize(
    ("rest", "text"),
    [
        (b"Content-Type: text/plain; charset=klingon\r\n\r\nhello", "hello"),
        (b"Content-Type: text/plain; charset=utf-8\r\n\r\n\xff caf\xc3\xa9", "\ufffd café"),
        (b"Content-Type: multipart/mixed; boundary=x\r\n\r\n--x\r\n", ""),
        (b"", ""),
    ],
)
def test_a_badly_made_message_is_shown_as_far_as_it_goes(tmp_path: Path, rest: bytes, text: str) -> None:
    keep(tmp_path, NAME, RAW + rest)
    assert mail.read(tmp_path, NAME).text == text


def test_mail_has_no_page_outside_the_demonstration() -> None:
    with pytest.raises(NoReverseMatch):
        reverse("demo_mail")


@pytest.fixture
def mail_pages(settings: Settings, tmp_path: Path) -> Path:
    settings.ROOT_URLCONF = "tests.portfolio.demo.urls_with_mail"
    settings.DEMO_MAIL = tmp_path
    return tmp_path


def test_mail_asks_who_is_there(client: Client, mail_pages: Path) -> None:
    keep(mail_pages, NAME, RAW)
    for address in (reverse("demo_mail"), reverse("demo_mail_file", args=[NAME])):
        assert client.get(address).status_code == 302


@pytest.mark.django_db
def test_message_is_shown_as_text_and_never_runs(client: Client, mail_pages: Path) -> None:
    body = b"Content-Type: text/html\r\n\r\n<script>alert(1)</script>"
    keep(mail_pages, NAME, RAW.replace(b"Gas", b"<img src=x>") + body)
    client.force_login(make_user(make_agency()))
    for address in (reverse("demo_mail"), reverse("demo_mail_message", args=[NAME])):
        page = client.get(address).content.decode()
        assert "&lt;img src=x&gt; check due" in page
        assert "<script>alert" not in page
        assert "<img src=x" not in page


@pytest.mark.django_db
def test_message_can_be_fetched_and_a_missing_one_is_404(client: Client, mail_pages: Path) -> None:
    keep(mail_pages, NAME, RAW)
    client.force_login(make_user(make_agency()))
    response = client.get(reverse("demo_mail_file", args=[NAME]))
    assert b"".join(response) == RAW
    assert response["Content-Disposition"] == f'attachment; filename="{NAME}.eml"'
    assert client.get(reverse("demo_mail_message", args=["0-0"])).status_code == 404
