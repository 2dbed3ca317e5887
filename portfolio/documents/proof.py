"""Is this file what it claims to be? Known by its content and proven by reading it, not by its name."""

import hashlib
import unicodedata
from dataclasses import dataclass
from pathlib import PurePosixPath
from typing import Any

import filetype
from django.conf import settings

from portfolio.documents.pdfs import prove_pdf
from portfolio.documents.pictures import FORMATS, prove_picture
from portfolio.documents.refused import UploadRefused
from portfolio.documents.scan import refuse_infected

SUFFIX = {
    "application/pdf": "pdf",
    "image/jpeg": "jpg",
    "image/png": "png",
    "image/webp": "webp",
    "image/heic": "heic",
}
HEIC_BRANDS = (b"heic", b"heix", b"heim", b"heis")
"""As phones write them; `heix` are pictures of more than eight bits a colour."""
TAKEN = "PDF, JPEG, PNG, WebP or HEIC"


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
            f"The file is {_megabytes(upload.size)}; the limit is {_megabytes(limit)}. "
            "Send a smaller scan or photo."
        )
    content = upload.read()
    if not content:
        raise UploadRefused("The file is empty. Choose it again; perhaps the copy was broken off.")
    media_type = _kind(content)
    if media_type not in SUFFIX:
        raise UploadRefused(f"The file is not a {TAKEN}, whatever its name says. Save it as one of these.")
    refuse_infected(content)
    if media_type in FORMATS:
        prove_picture(content, media_type)
    else:
        prove_pdf(content)
    return Accepted(
        content, media_type, safe_name(upload.name, media_type), hashlib.sha256(content).hexdigest()
    )


def _kind(content: bytes) -> str:
    """The media type that the first bytes claim, or "" for none we know."""
    if content[4:8] == b"ftyp" and content[8:12] in HEIC_BRANDS:
        return "image/heic"
    kind = filetype.guess(content)
    return kind.mime if kind else ""


def _megabytes(size: int) -> str:
    """To one place where a whole number would make a file look as large as its limit."""
    return f"{size / 2**20:.1f}".removesuffix(".0") + " MB"


def safe_name(name: str | None, media_type: str) -> str:
    """The last part of a name, without control characters, with the suffix of what the file really is."""
    bare = (name or "").replace("\\", "/")
    stem = PurePosixPath(bare).stem
    stem = "".join(c for c in unicodedata.normalize("NFC", stem) if unicodedata.category(c)[0] != "C")
    return f"{stem.strip(' .')[:120] or 'file'}.{SUFFIX[media_type]}"
