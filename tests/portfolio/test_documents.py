"""Uploads: the type is proven by reading the file; everything hostile is refused with a clear sentence."""

import io

import pikepdf
import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from PIL import Image

from portfolio.documents import UploadRefused, accept, open_bytes, store
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
