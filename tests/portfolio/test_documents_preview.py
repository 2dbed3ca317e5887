"""Copies for looking at: nothing in them but what is to be seen, and never instead of the original."""

import io
import struct
import zlib

import pikepdf
import pillow_heif
import pytest
from django.core.files.storage import default_storage
from django.core.files.uploadedfile import SimpleUploadedFile
from pikepdf import Array, Dictionary, Name, String
from PIL import Image
from PIL.PngImagePlugin import PngInfo

from portfolio.documents import Accepted, accept, open_bytes, store
from portfolio.documents.preview import NoPreview, preview_of
from portfolio.documents.store import path_of, put_whole
from tests.factories import at, make_agency

pytestmark = pytest.mark.django_db
SECRET = "LAT 53.4 SECRET"
XMP = f"<x:xmpmeta xmlns:x='adobe:ns:meta/'>{SECRET}</x:xmpmeta>".encode()


@pytest.fixture(autouse=True)
def _own_store(settings, tmp_path):
    """A copy made by another test must not be found here."""
    settings.MEDIA_ROOT = tmp_path


def exif(orientation: int = 1) -> Image.Exif:
    told = Image.Exif()
    told[0x0112], told[0x010E], told[0x010F] = orientation, SECRET, SECRET
    told.get_ifd(0x8825).update({1: "N", 2: (53.0, 24.0, 0.0), 3: "W", 4: (2.0, 5.0, 0.0)})
    return told


def photo(kind: str, size: tuple[int, int] = (60, 40), orientation: int = 1) -> bytes:
    """Red on the left, blue on the right, with all that a phone tells of where it was."""
    out, image = io.BytesIO(), Image.new("RGB", size, "blue")
    image.paste("red", (0, 0, size[0] // 2, size[1]))
    if kind == "HEIF":
        pillow_heif.from_pillow(image).save(out, exif=exif(orientation).tobytes(), quality=95)
        return out.getvalue()
    more: dict[str, object] = {"quality": 95} if kind != "PNG" else {}
    if kind == "JPEG":
        more |= {"comment": SECRET, "xmp": XMP}
    if kind == "PNG":
        text = PngInfo()
        text.add_text("Comment", SECRET)
        text.add_itxt("XML:com.adobe.xmp", SECRET)
        more["pnginfo"] = text
    if kind == "WEBP":
        more["xmp"] = XMP
    image.save(out, kind, exif=exif(orientation), **more)
    return out.getvalue()


def kept(content: bytes, name: str = "photo"):
    accepted = accept(SimpleUploadedFile(name, content))
    return store(accepted, agency=make_agency(), actor=None, moment=at())


def marks(jpeg: bytes) -> set[int]:
    from portfolio.documents.pictures import jpeg_parts

    return {marker for marker, _, _ in jpeg_parts(jpeg)}


@pytest.mark.parametrize("size", ["page", "small"])
@pytest.mark.parametrize("kind", ["JPEG", "PNG", "WEBP", "HEIF"])
def test_a_copy_of_a_picture_tells_nothing_of_where_and_when(kind, size):
    original = photo(kind)
    assert SECRET.encode() in original or kind == "PNG"
    copy, media_type = preview_of(kept(original), size)
    assert media_type == "image/jpeg"
    assert SECRET.encode() not in copy
    assert not marks(copy) & ({0xFE} | set(range(0xE1, 0xF0)))
    with Image.open(io.BytesIO(copy)) as image:
        assert not image.getexif()
        assert set(image.info) <= {
            "jfif",
            "jfif_version",
            "jfif_unit",
            "jfif_density",
            "progression",
            "progressive",
        }


@pytest.mark.parametrize("kind", ["JPEG", "PNG", "WEBP", "HEIF"])
def test_a_copy_stands_upright(kind):
    copy, _ = preview_of(kept(photo(kind, (60, 40), orientation=6)))  # held in the hand, on its side
    with Image.open(io.BytesIO(copy)) as image:
        assert image.size == (40, 60)
        top, bottom = image.getpixel((20, 5)), image.getpixel((20, 55))
    assert top[0] > 200 > 60 > top[2]
    assert bottom[2] > 200 > 60 > bottom[0]


@pytest.mark.parametrize(("size", "edge"), [("page", 1600), ("small", 320)])
def test_a_copy_is_no_larger_than_it_need_be(size, edge):
    large = kept(photo("JPEG", (3000, 1500)))
    with Image.open(io.BytesIO(preview_of(large, size)[0])) as image:
        assert image.size == (edge, edge // 2)
    with Image.open(io.BytesIO(preview_of(kept(photo("PNG")), size)[0])) as image:
        assert image.size == (60, 40)


@pytest.mark.parametrize("mode", ["1", "L", "P", "RGBA", "LA", "I;16", "CMYK"])
def test_pictures_of_every_make_can_be_looked_at(mode):
    out = io.BytesIO()
    kind = "JPEG" if mode == "CMYK" else "PNG"
    Image.new(mode, (9, 9)).save(out, kind)
    copy, _ = preview_of(kept(out.getvalue()))
    with Image.open(io.BytesIO(copy)) as image:
        assert (image.mode, image.size) == ("RGB", (9, 9))


def test_what_is_clear_in_a_picture_shows_as_white():
    out = io.BytesIO()
    Image.new("RGBA", (9, 9), (0, 0, 0, 0)).save(out, "PNG")
    with Image.open(io.BytesIO(preview_of(kept(out.getvalue()))[0])) as image:
        assert min(image.getpixel((4, 4))) > 250


def acting_pdf() -> bytes:
    """A page with a photo and all that a PDF can do besides being read."""
    out, pdf = io.BytesIO(), pikepdf.new()
    script = Dictionary(S=Name.JavaScript, JS=String("app.alert('SECRET')"))
    image = pdf.make_stream(
        photo("JPEG"), Type=Name.XObject, Subtype=Name.Image, Width=60, Height=40, ColorSpace=Name.DeviceRGB,
        BitsPerComponent=8, Filter=Name.DCTDecode,
    )  # fmt: skip
    image.Metadata = pdf.make_stream(XMP)
    page = pdf.add_blank_page(page_size=(200, 200)).obj
    page.Resources = Dictionary(XObject=Dictionary({"/A": image}))
    page.Contents = pdf.make_stream(b"q 60 0 0 40 0 0 cm /A Do Q")
    page.AA = Dictionary(O=script, C=script)
    page.PieceInfo = Dictionary(App=Dictionary(Private=String(SECRET)))
    look = pdf.make_stream(b"0 0 9 9 re f % filled in by hand", BBox=Array([0, 0, 9, 9]), Subtype=Name.Form)
    field = pdf.make_indirect(
        Dictionary(
            Type=Name.Annot,
            Subtype=Name.Widget,
            FT=Name.Tx,
            T=String("result"),
            V=String("Zs 0.8"),
            F=4,
            Rect=Array([0, 0, 9, 9]),
            AP=Dictionary(N=look),
            AA=Dictionary(K=script),
        )  # fmt: skip
    )
    acts = (
        Dictionary(S=Name.Launch, F=String("cmd.exe")), Dictionary(S=Name.URI, URI=String("http://x.example.org")),
        Dictionary(S=Name.SubmitForm, F=String("http://x.example.org")), script,
    )  # fmt: skip
    links = [
        pdf.make_indirect(Dictionary(Type=Name.Annot, Subtype=Name.Link, Rect=Array([0, 0, 9, 9]), A=act))
        for act in acts
    ]
    page.Annots = Array([field, *links])
    root = pdf.Root
    root.OpenAction, root.AA = script, Dictionary(WC=script)
    root.Names = Dictionary(JavaScript=Dictionary(Names=Array([String("a"), script])))
    root.AcroForm = Dictionary(Fields=Array([field]), XFA=pdf.make_stream(b"<xdp>SECRET</xdp>"))
    root.Outlines = Dictionary(First=pdf.make_indirect(Dictionary(Title=String("x"), A=script)))
    root.Metadata = pdf.make_stream(XMP)
    pdf.attachments["secret.html"] = b"<script>SECRET</script>"
    pdf.docinfo["/Author"] = SECRET
    pdf.save(out)
    return out.getvalue()


def every_key(content: bytes) -> set[str]:
    found: set[str] = set()

    def walk(thing, names=False):
        if isinstance(thing, Dictionary | pikepdf.Stream):
            found.update() if names else found.update(thing.keys())
            for key in thing.keys():  # noqa: SIM118
                inner = thing[key]
                if not getattr(inner, "is_indirect", False):
                    walk(inner, key in ("/XObject", "/Font"))
        elif isinstance(thing, Array):
            for inner in thing:
                if not getattr(inner, "is_indirect", False):
                    walk(inner)

    with pikepdf.open(io.BytesIO(content)) as pdf:
        for thing in pdf.objects:
            walk(thing)
        found.update(pdf.trailer.keys())
    return found


def unpacked(content: bytes) -> bytes:
    out = io.BytesIO()
    with pikepdf.open(io.BytesIO(content)) as pdf:
        pdf.save(out, compress_streams=False, stream_decode_level=pikepdf.StreamDecodeLevel.generalized,
                 object_stream_mode=pikepdf.ObjectStreamMode.disable)  # fmt: skip
    return out.getvalue()


ACTING = {
    "/JS", "/JavaScript", "/OpenAction", "/AA", "/A", "/Launch", "/URI", "/EmbeddedFiles", "/EF", "/XFA",
    "/AcroForm", "/Metadata", "/PieceInfo", "/Annots", "/Outlines", "/Names", "/Info",
}  # fmt: skip


def test_a_copy_of_a_pdf_does_nothing_and_tells_nothing():
    original = acting_pdf()
    assert every_key(original) >= ACTING - {"/Launch", "/JavaScript"}
    assert b"app.alert" in unpacked(original)
    document = kept(original)
    copy, media_type = preview_of(document)
    assert media_type == "application/pdf"
    assert not every_key(copy) & ACTING
    plain = unpacked(copy)
    for word in (b"SECRET", b"JavaScript", b"app.alert", b"cmd.exe", b"example.org", b"<script"):
        assert word not in plain
    assert open_bytes(document) == original


def test_a_copy_of_a_pdf_still_shows_the_page_its_photo_and_what_is_filled_in():
    copy, _ = preview_of(kept(acting_pdf()))
    with pikepdf.open(io.BytesIO(copy)) as pdf:
        (page,) = pdf.pages
        assert page.mediabox == [0, 0, 200, 200]
        (photo_in,) = page.get_images().values()
        shown = pikepdf.PdfImage(photo_in).as_pil_image()
        assert shown.size == (60, 40)
        assert shown.getpixel((5, 5))[0] > 200
    assert b"filled in by hand" in unpacked(copy)


def test_pages_that_take_their_size_from_the_book_keep_it():
    pdf, out = pikepdf.new(), io.BytesIO()
    for _ in range(3):
        page = pdf.add_blank_page(page_size=(300, 100)).obj
        del page["/MediaBox"]
    pdf.Root.Pages.MediaBox = Array([0, 0, 300, 100])
    pdf.save(out)
    copy, _ = preview_of(kept(out.getvalue()))
    with pikepdf.open(io.BytesIO(copy)) as shown:
        assert [list(page.mediabox) for page in shown.pages] == [[0, 0, 300, 100]] * 3


def test_a_copy_lies_beside_the_original_and_is_made_once(monkeypatch):
    document = kept(photo("JPEG"))
    first, _ = preview_of(document)
    beside = path_of(document.agency_id, document.sha256) + ".look1-1600.jpg"
    with default_storage.open(beside) as lies:
        assert lies.read() == first
    monkeypatch.setattr("portfolio.documents.preview.redraw", None)
    assert preview_of(document)[0] == first
    assert open_bytes(document) == photo("JPEG")


def test_a_file_that_cannot_be_drawn_says_so_and_stays():
    for media_type in ("application/pdf", "image/png"):
        odd = Accepted(b"not what it was " + media_type.encode(), media_type, "odd", media_type[:1] * 64)
        document = store(odd, agency=make_agency(), actor=None, moment=at())
        with pytest.raises(NoPreview, match="original is kept"):
            preview_of(document)
        assert open_bytes(document) == odd.content


def test_a_file_gone_from_the_store_is_told_apart():
    document = kept(photo("JPEG"))
    default_storage.delete(path_of(document.agency_id, document.sha256))
    with pytest.raises(NoPreview, match="missing"):
        preview_of(document)


def test_a_file_is_there_whole_or_not_at_all(monkeypatch, tmp_path):
    put_whole("1/ab/first", b"first")

    def full(descriptor):
        raise OSError("no space left on device")

    monkeypatch.setattr("os.fsync", full)
    for path in ("1/ab/first", "1/ab/second"):
        with pytest.raises(OSError, match="no space"):
            put_whole(path, b"other")
    assert [(path.name, path.read_bytes()) for path in (tmp_path / "1/ab").iterdir()] == [("first", b"first")]


def test_a_turn_that_cannot_be_read_is_no_reason_to_show_nothing():
    plain = photo("JPEG")
    at_exif = plain.index(b"Exif\0\0") + 6
    odd = plain[: at_exif + 4] + struct.pack("<I", 2**31) + plain[at_exif + 8 :]
    assert preview_of(kept(odd))[0].startswith(b"\xff\xd8")
    assert zlib.crc32(odd) != zlib.crc32(plain)
