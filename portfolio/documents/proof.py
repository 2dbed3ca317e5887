"""Is this file what it claims to be? Known by its content and proven by reading it, not by its name."""

import hashlib
import io
import unicodedata
import warnings
from dataclasses import dataclass
from functools import cache
from pathlib import PurePosixPath
from typing import Any

import filetype
from django.conf import settings

MAX_PIXELS = 80_000_000
MAX_PAGES = 500
MAX_PDF_UNPACKED = 50_000_000
"""Bytes that a packed list of objects in a PDF may unpack to: enough for a million objects."""
SUFFIX = {
    "application/pdf": "pdf",
    "image/jpeg": "jpg",
    "image/png": "png",
    "image/webp": "webp",
    "image/heic": "heic",
}
IMAGE_FORMATS = {"image/jpeg": "JPEG", "image/png": "PNG", "image/webp": "WEBP", "image/heic": "HEIF"}
TAKEN = "PDF, JPEG, PNG, WebP or HEIC"


class UploadRefused(Exception):
    """The file is not taken; the text says why and what to do."""


@dataclass(frozen=True, slots=True)
class Accepted:
    """A file whose type is proven. `name` is safe to show and to send back."""

    content: bytes
    media_type: str
    name: str
    sha256: str


def accept(upload: Any) -> Accepted:
    """Prove an uploaded file (anything with `.name`, `.size` and `.read()`). Raises UploadRefused."""
    limit = settings.UPLOAD_MAX_BYTES
    if upload.size > limit:
        raise UploadRefused(
            f"The file is {upload.size / 1e6:.0f} MB; the limit is {limit / 1e6:.0f} MB. Send a smaller scan or photo."
        )
    content = upload.read()
    if not content:
        raise UploadRefused("The file is empty. Choose it again; perhaps the copy was broken off.")
    kind = filetype.guess(content)
    media_type = kind.mime if kind else None
    if media_type not in SUFFIX:
        raise UploadRefused(f"The file is not a {TAKEN}, whatever its name says. Save it as one of these.")
    if media_type == "application/pdf":
        _prove_pdf(content)
    else:
        _prove_image(content, media_type)
    return Accepted(
        content, media_type, safe_name(upload.name, media_type), hashlib.sha256(content).hexdigest()
    )


def safe_name(name: str | None, media_type: str) -> str:
    """The last part of a name, without control characters, with the suffix of what the file really is."""
    bare = (name or "").replace("\\", "/")
    stem = PurePosixPath(bare).stem
    stem = "".join(c for c in unicodedata.normalize("NFC", stem) if unicodedata.category(c)[0] != "C")
    return f"{stem.strip(' .')[:120] or 'file'}.{SUFFIX[media_type]}"


def _prove_pdf(content: bytes) -> None:
    pikepdf = _pikepdf()
    if not content.startswith(b"%PDF-"):
        raise UploadRefused("The file has something in front of its PDF. Save it again as a plain PDF.")
    try:
        with pikepdf.open(io.BytesIO(content)) as pdf:
            pages = len(pdf.pages)
    except pikepdf.PasswordError as locked:
        raise UploadRefused("The PDF is locked with a password. Save it without one.") from locked
    except (pikepdf.PdfError, ValueError, RuntimeError) as broken:
        raise UploadRefused("The PDF cannot be read: it is damaged. Save or scan it again.") from broken
    if not 1 <= pages <= MAX_PAGES:
        raise UploadRefused(f"The PDF has {pages} pages; it should have between 1 and {MAX_PAGES}.")


@cache
def _pikepdf() -> Any:
    """The PDF reader with limits, which are the process's and set once: a small file may unpack to gigabytes."""
    import pikepdf  # slow to import

    most = MAX_PDF_UNPACKED
    pikepdf.settings.set_qpdf_limits(
        flate_max_memory=most, png_max_memory=most, tiff_max_memory=most, run_length_max_memory=most
    )
    return pikepdf


def _prove_image(content: bytes, media_type: str) -> None:
    import pillow_heif
    from PIL import Image

    pillow_heif.register_heif_opener()
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("error", Image.DecompressionBombWarning)
            with Image.open(io.BytesIO(content), formats=[IMAGE_FORMATS[media_type]]) as image:
                if image.width * image.height > MAX_PIXELS:
                    raise UploadRefused(
                        f"The picture is {image.width} by {image.height} pixels; the limit is "
                        f"{MAX_PIXELS // 1_000_000} megapixels. Send a smaller one."
                    )
                image.load()
    except (Image.DecompressionBombError, Image.DecompressionBombWarning) as bomb:
        raise UploadRefused("The picture is far too large when unpacked. Send a smaller one.") from bomb
    except (OSError, SyntaxError, ValueError, EOFError) as broken:
        raise UploadRefused("The picture cannot be read: it is damaged. Send it again.") from broken
