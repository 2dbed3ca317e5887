"""Uploads: the type is proven by reading the file; everything hostile is refused with a clear sentence."""

import io
import zlib

import pikepdf
import pytest
from django.core.files.base import ContentFile
from django.core.files.storage import default_storage
from django.core.files.uploadedfile import SimpleUploadedFile
from PIL import Image

from portfolio.documents import UploadRefused, accept, open_bytes, store
from portfolio.documents.store import path_of
from portfolio.models import Document
from tests.factories import at, make_agency, make_user


def pdf(pages: int = 1, **save) -> bytes:
    out, document = io.BytesIO(), pikepdf.new()
    for _ in range(pages):
        document.add_blank_page()
    document.save(out, **save)
    return out.getvalue()


def picture(kind: str, size: tuple[int, int] = (40, 30)) -> bytes:
    out = io.BytesIO()
    Image.new("RGB", size, "white").save(out, kind)
    return out.getvalue()


def heic() -> bytes:
    import pillow_heif

    out = io.BytesIO()
    pillow_heif.from_pillow(Image.new("RGB", (64, 64), "white")).save(out)
    return out.getvalue()


def upload(content: bytes, name: str = "paper.pdf") -> SimpleUploadedFile:
    return SimpleUploadedFile(name, content)


@pytest.mark.parametrize(
    ("content", "media_type", "suffix"),
    [
        (pdf(), "application/pdf", ".pdf"),
        (picture("JPEG"), "image/jpeg", ".jpg"),
        (picture("PNG"), "image/png", ".png"),
        (picture("WEBP"), "image/webp", ".webp"),
        (heic(), "image/heic", ".heic"),
    ],
)
def test_a_true_file_is_taken_whatever_its_name_says(content, media_type, suffix):
    accepted = accept(upload(content, "whatever.txt"))
    assert accepted.media_type == media_type
    assert accepted.name == f"whatever{suffix}"


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (b"", "empty"),
        (b"<svg xmlns='http://www.w3.org/2000/svg'><script>1</script></svg>", "not a"),
        (b"<!doctype html><script>alert(1)</script>", "not a"),
        (b"MZ" + b"\0" * 200 + pdf(), "not a"),
        (pdf()[:60], "damaged"),
        (b"%PDF-1.7\nnothing else", "damaged"),
        (picture("JPEG")[:300], "damaged"),
        (picture("PNG")[:50] + b"\0" * 50, "damaged"),
        (pdf(encryption=pikepdf.Encryption(owner="o", user="u")), "password"),
        (pdf(pages=501), "pages"),
        (b"PK\x03\x04" + b"\0" * 100, "not a"),
    ],
)
def test_a_false_or_broken_file_is_refused_with_a_sentence(content, words):
    with pytest.raises(UploadRefused, match=words):
        accept(upload(content))


def test_a_file_over_the_limit_is_refused_unread(settings):
    settings.UPLOAD_MAX_BYTES = 1000
    with pytest.raises(UploadRefused, match="MB"):
        accept(upload(b"x" * 1001))


def test_a_picture_that_unpacks_to_far_too_much_is_refused():
    out = io.BytesIO()
    Image.new("1", (20_000, 20_000)).save(out, "PNG")
    with pytest.raises(UploadRefused, match="larg|megapixels"):
        accept(upload(out.getvalue(), "bomb.png"))


def packed_pdf(filler: int) -> bytes:
    """A PDF whose pages lie in one packed list of objects, with so many bytes of nothing behind them."""
    objects = [
        b"<</Type/Catalog/Pages 2 0 R>>",
        b"<</Type/Pages/Kids[3 0 R]/Count 1>>",
        b"<</Type/Page/Parent 2 0 R/MediaBox[0 0 9 9]>>",
    ]
    at = [sum(map(len, objects[:n])) for n in range(3)]
    head = " ".join(f"{n} {place}" for n, place in enumerate(at, start=1)).encode() + b" "
    body = zlib.compress(head + b"".join(objects) + b" " * filler, 9)
    out = b"%PDF-1.5\n"
    list_at = len(out)
    out += b"4 0 obj<</Type/ObjStm/N 3/First %d/Filter/FlateDecode/Length %d>>stream\n" % (
        len(head),
        len(body),
    )
    out += body + b"\nendstream endobj\n"
    rows = [(0, 0, 0), (2, 4, 0), (2, 4, 1), (2, 4, 2), (1, list_at, 0), (1, len(out), 0)]
    table = b"".join(bytes([kind]) + place.to_bytes(4) + bytes([last]) for kind, place, last in rows)
    table_at = len(out)
    out += b"5 0 obj<</Type/XRef/Size 6/W[1 4 1]/Root 1 0 R/Length %d>>stream\n" % len(table)
    return out + table + b"\nendstream endobj\nstartxref\n%d\n%%%%EOF\n" % table_at


def test_a_pdf_that_unpacks_to_far_too_much_is_refused():
    assert accept(upload(packed_pdf(1000))).media_type == "application/pdf"
    bomb = packed_pdf(100_000_000)
    assert len(bomb) < 200_000
    with pytest.raises(UploadRefused, match="damaged|pages"):
        accept(upload(bomb))


@pytest.mark.parametrize(
    ("name", "kept"),
    [
        ("../../etc/passwd.pdf", "passwd.pdf"),
        ("C:\\Users\\me\\gas.pdf", "gas.pdf"),
        ("a\r\nSet-Cookie: x.pdf", "aSet-Cookie: x.pdf"),
        ("\u202egpj.pdf", "gpj.pdf"),
        ("...", "file.pdf"),
        ("", "file.pdf"),
    ],
)
def test_a_name_is_made_harmless(name, kept):
    from portfolio.documents.proof import safe_name

    assert safe_name(name, "application/pdf") == kept


@pytest.mark.django_db
def test_the_bytes_are_kept_exactly_and_once_per_agency():
    agency, other = make_agency(), make_agency()
    accepted = accept(upload(pdf()))
    first = store(accepted, agency=agency, actor=make_user(agency), moment=at())
    again = store(accepted, agency=agency, actor=make_user(agency), moment=at())
    elsewhere = store(accepted, agency=other, actor=None, moment=at())
    assert first == again != elsewhere
    assert open_bytes(first) == accepted.content == open_bytes(elsewhere)
    assert Document.objects.count() == 2


@pytest.mark.django_db
def test_half_a_file_left_by_a_killed_server_is_not_taken_for_the_whole():
    agency, accepted = make_agency(), accept(upload(pdf()))
    default_storage.save(path_of(agency.pk, accepted.sha256), ContentFile(accepted.content[:40]))
    document = store(accepted, agency=agency, actor=None, moment=at())
    assert open_bytes(document) == accepted.content
