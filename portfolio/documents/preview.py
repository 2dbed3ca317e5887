"""Copies of kept files for looking at in a page: pictures drawn afresh, PDFs without anything that acts.

A copy is made when it is first asked for, kept beside the original under its own name, and never instead of it.
"""

import logging
from collections.abc import Callable
from typing import Final

from django.core.files.storage import default_storage

from portfolio.documents.pdfs import broken_pdf, cleaned
from portfolio.documents.pictures import BROKEN, FORMATS, redraw
from portfolio.documents.refused import UploadRefused
from portfolio.documents.store import open_bytes, path_of, put_whole
from portfolio.models import Document

log = logging.getLogger(__name__)
EDGE: Final = {"page": 1600, "small": 320}
"""The longer side of a picture's copy, pixels, by the size asked for."""
MAKING: Final = 1
"""Part of the copies' names. Raise it when they are made differently, and they are made anew."""


class NoPreview(Exception):
    """There is no copy to look at; the text says why. The original is as it was."""


def is_picture(document: Document) -> bool:
    return document.media_type in FORMATS


def preview_of(document: Document, size: str = "page") -> tuple[bytes, str]:
    """The copy and its media type. `size`: "page" or "small" (pictures only; a PDF has one copy).

    Raises NoPreview, and KeyError for another size.
    """
    edge = EDGE[size]
    if is_picture(document):
        path = f"{path_of(document.agency_id, document.sha256)}.look{MAKING}-{edge}.jpg"
        return _kept(path, document, lambda content: redraw(content, document.media_type, edge)), "image/jpeg"
    path = f"{path_of(document.agency_id, document.sha256)}.look{MAKING}.pdf"
    return _kept(path, document, cleaned), "application/pdf"


def _kept(path: str, document: Document, make: Callable[[bytes], bytes]) -> bytes:
    try:
        with default_storage.open(path) as kept:
            return kept.read()
    except FileNotFoundError:
        pass
    fails: tuple[type[Exception], ...] = (*BROKEN, *broken_pdf(), UploadRefused)
    try:
        copy = make(open_bytes(document))
    except FileNotFoundError as lost:
        log.error("document %s is gone from the store", document.pk)
        raise NoPreview(
            "The file is missing from where files are kept. Tell whoever runs this service."
        ) from lost
    except fails as broken:
        log.warning("no copy of document %s to look at: %s", document.pk, broken)
        raise NoPreview(
            "This file cannot be shown here. The original is kept; download it instead."
        ) from broken
    put_whole(path, copy)
    return copy
