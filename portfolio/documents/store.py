"""Where proven files are kept: under their SHA-256, written once; beside them their copies for looking at."""

import hashlib
import os
import secrets
from pathlib import Path
from typing import Any

from django.core.files.base import ContentFile
from django.core.files.storage import default_storage

from portfolio.clock import Moment
from portfolio.documents.proof import Accepted
from portfolio.models import Agency, Document


def path_of(agency_id: int, sha256: str) -> str:
    return f"{agency_id}/{sha256[:2]}/{sha256}"


def store(accepted: Accepted, *, agency: Agency, actor: Any, moment: Moment) -> Document:
    """Keep the file; the same bytes again give the document already held."""
    _keep(path_of(agency.pk, accepted.sha256), accepted)
    document, _ = Document.objects.get_or_create(
        agency=agency,
        sha256=accepted.sha256,
        defaults={
            "size": len(accepted.content),
            "media_type": accepted.media_type,
            "name": accepted.name,
            "added_at": moment.at,
            "added_by": actor,
        },
    )
    return document


def _keep(path: str, accepted: Accepted) -> None:
    """Write the file, unless these very bytes lie there: a copy put back from a broken backup is mended."""
    if default_storage.exists(path):
        with default_storage.open(path) as kept:
            if hashlib.sha256(kept.read()).hexdigest() == accepted.sha256:
                return
    put_whole(path, accepted.content)


def put_whole(path: str, content: bytes) -> None:
    """Write a file so that it is there whole or not at all, also if the server is killed meanwhile."""
    try:
        target = Path(default_storage.path(path))
    except NotImplementedError:  # a store elsewhere, which shows a file only when all of it has come
        default_storage.delete(path)
        default_storage.save(path, ContentFile(content))
        return
    target.parent.mkdir(parents=True, exist_ok=True)
    part = target.with_name(f".{secrets.token_hex(8)}.part")
    try:
        with part.open("xb") as out:
            out.write(content)
            out.flush()
            os.fsync(out.fileno())
        part.replace(target)
    finally:
        part.unlink(missing_ok=True)


def open_bytes(document: Document) -> bytes:
    """The bytes exactly as they came in. Raises FileNotFoundError when the store has lost them."""
    with default_storage.open(path_of(document.agency_id, document.sha256)) as kept:
        return kept.read()
