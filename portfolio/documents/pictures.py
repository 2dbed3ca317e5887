"""Pictures: proven before they are kept, and drawn afresh for looking at."""

import io
import struct
import warnings
import zipfile
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from typing import Any

from portfolio.documents.refused import UploadRefused

FORMATS = {"image/jpeg": "JPEG", "image/png": "PNG", "image/webp": "WEBP", "image/heic": "HEIF"}
MAX_PIXELS = 80_000_000
MAX_FRAMES = 10
"""A phone may keep a few pictures in one file (depth, both lenses); a film is none of the pictures we take."""
MARKUP = (b"<html", b"<script", b"<!doctype", b"<svg", b"<?php", b"<iframe", b"javascript:")
BROKEN: tuple[type[Exception], ...] = (
    OSError, SyntaxError, ValueError, EOFError, LookupError, ArithmeticError, TypeError, RuntimeError,
    struct.error,
)  # fmt: skip
"""What the libraries raise over damaged pictures."""
DAMAGED = "The picture cannot be read: it is damaged. Send it again."
BEHIND = "There is something else behind the picture in this file. Save it again as a plain picture."


def prove_picture(content: bytes, media_type: str) -> None:
    """Read it whole. Raises UploadRefused."""
    from PIL import Image

    _prove_end(content, media_type)
    if media_type == "image/webp":
        _prove_size(*_webp_size(content))
    try:
        with open_picture(content, media_type) as image:
            _prove_size(image.width, image.height)
            frames = getattr(image, "n_frames", 1)
            if frames > MAX_FRAMES:
                raise UploadRefused(f"The file is a film of {frames} pictures. Send single photos.")
            image.load()
    except (Image.DecompressionBombError, MemoryError) as bomb:
        raise UploadRefused("The picture is far too large when unpacked. Send a smaller one.") from bomb
    except BROKEN as broken:
        raise UploadRefused(DAMAGED) from broken


@contextmanager
def open_picture(content: bytes, media_type: str) -> Iterator[Any]:
    """The picture, read as its proven type and no other; its pixels are not read yet."""
    import pillow_heif
    from PIL import Image

    pillow_heif.register_heif_opener()
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # odd notes of cameras; sizes are checked by ourselves
        with Image.open(io.BytesIO(content), formats=[FORMATS[media_type]]) as image:
            yield image


def redraw(content: bytes, media_type: str, edge: int) -> bytes:
    """The picture as a JPEG, upright, no longer or higher than `edge` pixels, with nothing in it but pixels.

    Raises one of `BROKEN` if it cannot be read.
    """
    from PIL import Image, ImageOps

    with open_picture(content, media_type) as image:
        _prove_size(image.width, image.height)
        image.draft("RGB", (edge, edge))
        upright = image
        with suppress(*BROKEN):  # a turn that cannot be read is no reason to show nothing
            upright = ImageOps.exif_transpose(image)
        upright.thumbnail((edge, edge))
        # A sheet of its own: what else the file said (place, time, device, comments) stays behind.
        sheet = Image.new("RGB", upright.size, "white")
        shown = upright.convert("RGBA")
        sheet.paste(shown, mask=shown.getchannel("A"))
    out = io.BytesIO()
    sheet.save(out, "JPEG", quality=86, optimize=True, progressive=True)
    return out.getvalue()


def _prove_size(width: int, height: int) -> None:
    if width * height > MAX_PIXELS:
        raise UploadRefused(
            f"The picture is {width} by {height} pixels; the limit is {MAX_PIXELS // 1_000_000} megapixels. "
            "Send a smaller one."
        )


def _prove_end(content: bytes, media_type: str) -> None:
    """The file ends where its picture does. Behind a JPEG cameras put more of their own, which is looked through."""
    try:
        end = END[media_type](content)
    except (IndexError, struct.error) as broken:
        raise UploadRefused(DAMAGED) from broken
    if end > len(content):
        raise UploadRefused("The picture is not whole: its end is missing. Send it again.")
    behind = content[end:].strip(b"\0\r\n ")
    hidden = any(word in behind.lower() for word in MARKUP) or zipfile.is_zipfile(io.BytesIO(content))
    if hidden or (behind and media_type != "image/jpeg"):
        raise UploadRefused(BEHIND)


def jpeg_parts(content: bytes) -> list[tuple[int, int, int]]:
    """Marker, start and end of each part of a JPEG, up to and with its end. A scan's data belong to its marker.

    Raises IndexError if it breaks off.
    """
    parts, at = [(0xD8, 0, 2)], 2
    while True:
        while content[at + 1] == 0xFF:  # padding
            at += 1
        marker, start = content[at + 1], at
        if content[at] != 0xFF:
            raise IndexError(f"no marker at {at}")
        if marker == 0xD9:
            return [*parts, (marker, start, at + 2)]
        at += 2
        if not (0xD0 <= marker <= 0xD8 or marker == 0x01):
            at += int.from_bytes(content[at : at + 2])
        if marker == 0xDA:
            at = _end_of_scan(content, at)
        if at >= len(content):
            raise IndexError("it breaks off")
        parts.append((marker, start, at))


def _end_of_scan(content: bytes, at: int) -> int:
    while (at := content.find(b"\xff", at)) >= 0:
        following = content[at + 1]
        if following == 0xFF:
            at += 1
        elif following == 0x00 or 0xD0 <= following <= 0xD7:
            at += 2
        else:
            return at
    raise IndexError("the scan does not end")


def _end_of_png(content: bytes) -> int:
    at, name = 8, b""
    while name != b"IEND":
        length, name = struct.unpack_from(">I4s", content, at)
        at += length + 12
    return at


def _end_of_boxes(content: bytes) -> int:
    """A HEIC file is boxes from its first byte to its last."""
    at = 0
    while at < len(content) and content[at : at + 8].strip(b"\0"):
        (length,) = struct.unpack_from(">I", content, at)
        if length == 1:
            (length,) = struct.unpack_from(">Q", content, at + 8)
        if length == 0:
            return len(content)
        if length < 8:
            raise IndexError(f"no box at {at}")
        at += length
    return at


def _webp_size(content: bytes) -> tuple[int, int]:
    """Width and height as the file says: the library would set memory aside for them before it can be asked."""
    kind, body = content[12:16], content[20:30].ljust(10, b"\0")
    if kind == b"VP8X":
        return int.from_bytes(body[4:7], "little") + 1, int.from_bytes(body[7:10], "little") + 1
    if kind == b"VP8L":
        bits = int.from_bytes(body[1:5], "little")
        return (bits & 0x3FFF) + 1, (bits >> 14 & 0x3FFF) + 1
    width, height = struct.unpack_from("<HH", body, 6)
    return width & 0x3FFF, height & 0x3FFF


END = {
    "image/jpeg": lambda content: jpeg_parts(content)[-1][2],
    "image/png": _end_of_png,
    "image/webp": lambda content: 8 + int.from_bytes(content[4:8], "little"),
    "image/heic": _end_of_boxes,
}
"""Where a picture of this type ends, as its own structure says."""
