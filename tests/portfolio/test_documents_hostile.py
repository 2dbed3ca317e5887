"""Files made to do harm: each is refused with a clear sentence, or can do none."""

import io
import struct
import zipfile
import zlib

import pikepdf
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import Image

from portfolio.documents import UploadRefused, accept
from tests.portfolio.test_documents import heic, pdf, picture, upload


def archive() -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as z:
        z.writestr("a.html", "<script>1</script>")
    return out.getvalue()


def film(kind: str, frames: int) -> bytes:
    out = io.BytesIO()
    pictures = [Image.new("RGB", (4, 4), (n % 256, n // 256, 0)) for n in range(frames)]
    pictures[0].save(out, kind, save_all=True, append_images=pictures[1:])
    return out.getvalue()


def pdf_with_stream(body: bytes, *filters: str) -> bytes:
    out, document = io.BytesIO(), pikepdf.new()
    document.add_blank_page()
    stream = document.make_stream(b"")
    stream.write(body, filter=pikepdf.Array([pikepdf.Name(name) for name in filters]))
    document.pages[0].obj.Contents = stream
    as_it_is = pikepdf.StreamDecodeLevel.none
    document.save(out, compress_streams=False, stream_decode_level=as_it_is)
    return out.getvalue()


def packed(size: int) -> bytes:
    packer, out = zlib.compressobj(9), bytearray()
    for _ in range(size // 10_000_000):
        out += packer.compress(bytes(10_000_000))
    return bytes(out + packer.flush())


def webp_saying(width: int, height: int) -> bytes:
    """A small picture whose file says that it is to be drawn on so large a canvas."""
    frame = picture("WEBP")[12:]
    size = (width - 1).to_bytes(3, "little") + (height - 1).to_bytes(3, "little")
    body = b"WEBPVP8X" + (10).to_bytes(4, "little") + bytes(4) + size + frame
    return b"RIFF" + len(body).to_bytes(4, "little") + body


def png_saying(width: int, height: int) -> bytes:
    real = picture("PNG")
    head = b"IHDR" + struct.pack(">II", width, height) + real[24:29]
    return real[:12] + head + struct.pack(">I", zlib.crc32(head)) + real[33:]


def taken_or_refused(content: bytes) -> bool:
    """Anything but an accepted file or a sentence comes out as what it is: an error."""
    try:
        return bool(accept(upload(content)).sha256)
    except UploadRefused as refused:
        return str(refused).endswith(".")


HTML = b"<html><script>alert(1)</script></html>"
HOSTILE = {
    "archive behind a PDF": (lambda: pdf() + archive(), "archive"),
    "page behind a PDF": (lambda: pdf() + HTML, "does not stop"),
    "page in front of a PDF": (lambda: HTML + pdf(), "not a PDF"),
    "line in front of a PDF": (lambda: b"\n" + pdf(), "in front|not a PDF"),
    "page behind a JPEG": (lambda: picture("JPEG") + HTML, "behind the picture"),
    "page behind a JPEG, in capitals": (lambda: picture("JPEG") + b"\n<HTML>", "behind the picture"),
    "script behind a PNG": (lambda: picture("PNG") + b"alert(1)", "behind the picture"),
    "archive behind a JPEG": (lambda: picture("JPEG") + archive(), "behind the picture"),
    "page behind a WebP": (lambda: picture("WEBP") + HTML, "behind the picture"),
    "page behind a HEIC": (lambda: heic() + HTML, "behind the picture|damaged|not whole"),
    "SVG": (lambda: b"<?xml version='1.0'?><svg onload='alert(1)'/>", "not a PDF"),
    "page with a picture's first bytes": (lambda: b"\xff\xd8\xff\xe0" + HTML * 9, "damaged"),
    "GIF": (lambda: picture("GIF"), "not a PDF"),
    "TIFF": (lambda: picture("TIFF"), "not a PDF"),
    "JPEG broken off": (lambda: picture("JPEG", (400, 400))[:-200], "damaged"),
    "PNG broken off": (lambda: picture("PNG", (400, 400))[:-30], "damaged|not whole"),
    "WebP broken off": (lambda: picture("WEBP", (400, 400))[:-30], "not whole"),
    "HEIC broken off": (lambda: heic()[:-30], "not whole|damaged"),
    "PDF broken off": (lambda: pdf(pages=9)[:-40], "does not stop|end is missing"),
    "WebP film": (lambda: film("WEBP", 3000), "film"),
    "PNG film": (lambda: film("PNG", 3000), "film|not a PDF"),
    "PNG that says it is vast": (lambda: png_saying(60_000, 60_000), "large|megapixels"),
    "PNG that says it is as large as can be": (lambda: png_saying(2**31 - 1, 2**31 - 1), "large|megapixels|damaged"),
    "WebP that says it is vast": (lambda: webp_saying(2**24, 2**24), "megapixels"),
    "PDF with a bomb": (lambda: pdf_with_stream(packed(610_000_000), "/FlateDecode"), "far too large when unpacked"),
    "PDF with a bomb in a bomb": (
        lambda: pdf_with_stream(zlib.compress(packed(50_000_000)), "/FlateDecode", "/FlateDecode"),
        "packed more than once",
    ),
    "PDF that cannot be opened": (
        lambda: pdf(encryption=pikepdf.Encryption(owner="o", user="u", R=6)), "locked with a password"),
    "nothing": (lambda: b"", "empty"),
    "noughts": (lambda: bytes(5000), "not a PDF"),
}  # fmt: skip


@pytest.mark.parametrize("name", HOSTILE)
def test_what_is_made_to_harm_is_refused_with_a_sentence(name):
    make, words = HOSTILE[name]
    with pytest.raises(UploadRefused, match=words) as refused:
        accept(upload(make(), "../../../etc/cron.d/x\0.jpg"))
    assert str(refused.value).endswith(".")


@pytest.mark.parametrize("make", [heic, lambda: picture("JPEG", (64, 64)), lambda: picture("WEBP", (64, 64))])
def test_a_picture_of_too_many_pixels_is_refused_before_they_are_unpacked(monkeypatch, make):
    monkeypatch.setattr("portfolio.documents.pictures.MAX_PIXELS", 64 * 64)
    assert accept(upload(make()))
    monkeypatch.setattr("portfolio.documents.pictures.MAX_PIXELS", 64 * 64 - 1)
    monkeypatch.setattr("PIL.ImageFile.ImageFile.load", None)
    with pytest.raises(UploadRefused, match="megapixels"):
        accept(upload(make()))


def test_a_heic_of_ten_bits_a_colour_is_known():
    import pillow_heif

    out = io.BytesIO()
    pillow_heif.from_pillow(Image.new("L", (64, 64))).save(out)
    assert out.getvalue()[8:12] == b"heix"
    assert accept(upload(out.getvalue())).media_type == "image/heic"


def test_a_heic_that_lies_about_its_size_does_no_harm():
    honest = heic()
    at = honest.index(b"ispe") + 8
    for width, height in ((1, 1), (60_000, 60_000), (2**32 - 1, 2**32 - 1)):
        lying = honest[:at] + struct.pack(">II", width, height) + honest[at + 8 :]
        assert taken_or_refused(lying)


@pytest.mark.parametrize(
    "behind", [bytes(64), b"\r\n", b"\xff\xd8\xff\xe0 another picture", b"\0\0\0\x18ftypmp42 its film"]
)  # fmt: skip
def test_what_cameras_put_behind_a_photo_is_taken(behind):
    content = picture("JPEG") + behind
    assert accept(upload(content)).content == content


def test_a_pdf_with_a_script_is_kept_as_it_is():
    document, out = pikepdf.new(), io.BytesIO()
    document.add_blank_page()
    document.Root.OpenAction = pikepdf.Dictionary(
        S=pikepdf.Name.JavaScript, JS=pikepdf.String("app.alert(1)")
    )
    document.save(out)
    assert accept(upload(out.getvalue())).content == out.getvalue()


def test_a_paper_that_may_only_be_printed_is_taken():
    locked = pdf(encryption=pikepdf.Encryption(owner="o", user="", allow=pikepdf.Permissions(extract=False)))
    assert accept(upload(locked)).media_type == "application/pdf"


def test_a_long_scan_without_loss_is_taken():
    scan = pdf_with_stream(packed(150_000_000), "/FlateDecode")
    assert accept(upload(scan)).media_type == "application/pdf"


@pytest.mark.parametrize(
    ("name", "kept"),
    [
        ("x" * 5000 + ".jpg", "x" * 120 + ".pdf"),
        ("..\\..\\windows\\win.ini", "win.pdf"),
        ("a\0b.pdf", "ab.pdf"),
        ("\udce9.pdf", "file.pdf"),
        ('"; filename=evil.html', '"; filename=evil.pdf'),
        (".htaccess", "htaccess.pdf"),
        (None, "file.pdf"),
    ],
)
def test_a_name_does_no_harm(name, kept):
    from portfolio.documents.proof import safe_name

    assert safe_name(name, "application/pdf") == kept


WHOLE = {name: make() for name, make in {
    "pdf": lambda: pdf(2), "jpeg": lambda: picture("JPEG"), "png": lambda: picture("PNG"),
    "webp": lambda: picture("WEBP"), "heic": heic,
}.items()}  # fmt: skip


@settings(max_examples=150)
@given(st.data())
def test_whatever_happens_to_a_file_it_is_taken_or_refused_and_nothing_else(data):
    content = bytearray(WHOLE[data.draw(st.sampled_from(sorted(WHOLE)))])
    for _ in range(data.draw(st.integers(1, 8))):
        content[data.draw(st.integers(0, len(content) - 1))] = data.draw(st.integers(0, 255))
    cut = data.draw(st.integers(1, len(content)) | st.just(len(content)))
    assert taken_or_refused(bytes(content[:cut]))


@pytest.mark.parametrize("name", sorted(WHOLE))
@pytest.mark.parametrize("missing", [1, 2, 20, 100])
def test_a_file_broken_off_is_never_taken_for_the_whole(name, missing):
    content = WHOLE[name]
    with pytest.raises(UploadRefused):
        accept(upload(content[:-missing].rstrip(b"\n")[: len(content) - max(missing, 3)]))
