"""Invented photos."""

import io

from PIL import Image


def jpeg(shade: int = 90, side: int = 40) -> bytes:
    """A small picture of one shade, each shade with bytes of its own."""
    out = io.BytesIO()
    Image.new("RGB", (side, side), (shade, shade, shade)).save(out, "JPEG")
    return out.getvalue()
