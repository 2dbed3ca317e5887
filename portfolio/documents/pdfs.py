"""PDFs: proven before they are kept, and copied without anything that acts for looking at."""

import io
import zipfile
import zlib
from functools import cache
from typing import Any

from portfolio.documents.pictures import jpeg_parts
from portfolio.documents.refused import UploadRefused

MAX_PAGES = 500
MAX_OBJECTS = 150_000
MAX_PDF_UNPACKED = 50_000_000
"""Bytes that a packed list of objects in a PDF may unpack to: enough for a million objects."""
MAX_UNPACKED_ALL = 600_000_000
"""Bytes of all its packed streams together: twenty pages scanned in colour without loss."""
PAGE_KEYS = {
    "/Type", "/MediaBox", "/CropBox", "/BleedBox", "/TrimBox", "/ArtBox", "/Rotate", "/UserUnit", "/Resources",
    "/Contents", "/Group",
}  # fmt: skip
ACTING = {
    "/A", "/AA", "/PA", "/NA", "/OpenAction", "/JS", "/JavaScript", "/Launch", "/EmbeddedFiles", "/EF", "/AF", "/XFA",
    "/AcroForm", "/Annots", "/Metadata", "/PieceInfo", "/Ref", "/OPI", "/Alternates", "/StructParent", "/StructParents",
    "/LastModified", "/Measure", "/PtData", "/F", "/FFilter", "/FDecodeParms", "/URI", "/Thumb", "/Names",
}  # fmt: skip
"""What acts, reaches outside the page, or tells more than the page shows."""
NAMED = {
    "/XObject",
    "/Font",
    "/ExtGState",
    "/ColorSpace",
    "/Pattern",
    "/Shading",
    "/Properties",
    "/CharProcs",
}
"""Lists whose keys are names given by the writer, so `/A` in them is the name of a font and not an action."""
WHOLE = "The PDF is not whole: its end is missing. Save or send it again."


def prove_pdf(content: bytes) -> None:
    """Read it. Raises UploadRefused."""
    pikepdf = _pikepdf()
    _prove_ends(content)
    try:
        with pikepdf.open(io.BytesIO(content)) as pdf:
            pages = len(pdf.pages)
            if not 1 <= pages <= MAX_PAGES:
                raise UploadRefused(f"The PDF has {pages} pages; it should have between 1 and {MAX_PAGES}.")
            _prove_unpacked(pdf, pikepdf)
    except pikepdf.PasswordError as locked:
        raise UploadRefused("The PDF is locked with a password. Save it without one.") from locked
    except broken_pdf() as broken:
        raise UploadRefused("The PDF cannot be read: it is damaged. Save or scan it again.") from broken


def broken_pdf() -> tuple[type[Exception], ...]:
    """What the library raises over damaged PDFs."""
    pikepdf = _pikepdf()
    return (
        pikepdf.PdfError, pikepdf.DataDecodingError, ValueError, RuntimeError, TypeError, LookupError, AttributeError,
        OverflowError, MemoryError,
    )  # fmt: skip


def _prove_ends(content: bytes) -> None:
    if not content.startswith(b"%PDF-"):
        raise UploadRefused("The file has something in front of its PDF. Save it again as a plain PDF.")
    end = content.rfind(b"%%EOF")
    if end < 0:
        raise UploadRefused("The PDF cannot be read: it is damaged, or its end is missing. Save it again.")
    if zipfile.is_zipfile(io.BytesIO(content)):
        raise UploadRefused("The file is a PDF and an archive at once. Save it again as a plain PDF.")
    if content[end + 5 :].strip(b"\0\r\n\t \x1a"):
        raise UploadRefused(
            "The PDF does not stop at its end: something lies behind it, or it was broken off. "
            "Save it again as a plain PDF."
        )


def _prove_unpacked(pdf: Any, pikepdf: Any) -> None:
    """Whoever opens it later must not be handed a bomb: its packed streams are unpacked piece by piece and counted."""
    if len(pdf.objects) > MAX_OBJECTS:
        raise UploadRefused(f"The PDF is made of more than {MAX_OBJECTS:,} parts. Save or scan it again.")
    size = 0
    for part in pdf.objects:
        if not isinstance(part, pikepdf.Stream):
            continue
        filters = _filters(part, pikepdf)
        if filters.count("/FlateDecode") + filters.count("/Fl") > 1:
            raise UploadRefused("The PDF has parts that are packed more than once. Save or scan it again.")
        raw = part.read_raw_bytes()
        size += len(raw)
        if filters and filters[0] in ("/FlateDecode", "/Fl"):
            size += _unpacked(raw, MAX_UNPACKED_ALL - size)
        if size > MAX_UNPACKED_ALL:
            raise UploadRefused("The PDF is far too large when unpacked. Save or scan it again.")


def _filters(stream: Any, pikepdf: Any) -> list[str]:
    named = stream.get("/Filter")
    if named is None:
        return []
    return [str(name) for name in named] if isinstance(named, pikepdf.Array) else [str(named)]


def _unpacked(raw: bytes, most: int) -> int:
    """How many bytes it unpacks to, counted no further than just beyond `most`; damaged ones as far as they go."""
    unpacker, size, piece = zlib.decompressobj(), 0, raw
    try:
        while piece and size <= most and not unpacker.eof:
            size += len(unpacker.decompress(piece, 1_000_000))
            piece = unpacker.unconsumed_tail
    except zlib.error:
        return size
    return size


def cleaned(content: bytes) -> bytes:
    """A copy to look at: the pages as printed, with nothing that acts, no attached files and nothing said about it.

    What is filled into a form or written on a page stays, as part of the page. Raises one of `broken_pdf()`.
    """
    pikepdf = _pikepdf()
    out = io.BytesIO()
    with pikepdf.open(io.BytesIO(content)) as pdf, pikepdf.new() as copy:
        pdf.generate_appearance_streams()
        pdf.flatten_annotations("screen")
        for page in pdf.pages:
            for key in set(page.obj.keys()) - PAGE_KEYS - {"/Parent"}:
                del page.obj[key]
        copy.pages.extend(pdf.pages)
        for part in copy.objects:
            _strip(part, pikepdf)
        copy.remove_unreferenced_resources()
        copy.save(out, deterministic_id=True, min_version="1.7")
    return out.getvalue()


def _strip(part: Any, pikepdf: Any) -> None:
    """Take out of one object, and what lies directly in it, all that acts; from its photos, where they were taken."""
    waiting, names = [(part, False)], pikepdf.Dictionary
    while waiting:
        thing, named = waiting.pop()
        if isinstance(thing, pikepdf.Array):
            waiting += [(inner, False) for inner in thing if not _is_apart(inner)]
            continue
        if not isinstance(thing, names | pikepdf.Stream):
            continue
        if not named:
            for key in ACTING & set(thing.keys()):
                del thing[key]
        if isinstance(thing, pikepdf.Stream):
            _strip_photo(thing, pikepdf)
        waiting += [(thing[key], key in NAMED) for key in thing.keys() if not _is_apart(thing[key])]  # noqa: SIM118


def _is_apart(thing: Any) -> bool:
    """Is it an object of its own, which is met by itself, or a plain value?"""
    return getattr(thing, "is_indirect", True)


def _strip_photo(stream: Any, pikepdf: Any) -> None:
    """A photo in a page is a whole JPEG, with all its camera wrote into it; the page needs its pixels only."""
    if _filters(stream, pikepdf) != ["/DCTDecode"]:
        return
    raw = stream.read_raw_bytes()
    try:
        parts = jpeg_parts(raw)
    except IndexError:
        return
    kept = [
        raw[start:end]
        for marker, start, end in parts
        if not (0xE1 <= marker <= 0xED or marker in (0xEF, 0xFE))  # all but the two that tell of the colours
    ]
    stream.write(b"".join(kept), filter=pikepdf.Name.DCTDecode, decode_parms=stream.get("/DecodeParms"))


@cache
def _pikepdf() -> Any:
    """The PDF reader with limits, which are the process's and set once: a small file may unpack to gigabytes."""
    import pikepdf  # slow to import

    most = MAX_PDF_UNPACKED
    pikepdf.settings.set_qpdf_limits(
        flate_max_memory=most, png_max_memory=most, tiff_max_memory=most, run_length_max_memory=most
    )
    return pikepdf
