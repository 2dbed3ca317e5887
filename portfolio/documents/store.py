"""Where proven files are kept: under their SHA-256, written once."""

import hashlib
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
    """Write the file, unless these very bytes lie there. A server killed while writing leaves half a file."""
    if default_storage.exists(path):
        with default_storage.open(path) as kept:
            if hashlib.sha256(kept.read()).hexdigest() == accepted.sha256:
                return
        default_storage.delete(path)
    default_storage.save(path, ContentFile(accepted.content))


def open_bytes(document: Document) -> bytes:
    """The bytes exactly as they came in. Raises FileNotFoundError when the store has lost them."""
    with default_storage.open(path_of(document.agency_id, document.sha256)) as kept:
        return kept.read()
