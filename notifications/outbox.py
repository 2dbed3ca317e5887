"""Where any app leaves a message. A leaf: it knows nothing of homes, defects or jobs."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from email.utils import parseaddr
from uuid import NAMESPACE_URL, uuid5

from django.conf import settings
from django.db import transaction

from notifications.models import Attachment, Message


@dataclass(frozen=True, slots=True)
class File:
    """A file to go with a message."""

    name: str
    media_type: str
    content: bytes


@dataclass(frozen=True, slots=True)
class Draft:
    """A message to one person. The same `key` again is the same message, and is not written twice."""

    key: str
    kind: str
    because: str
    agency_id: int
    to_name: str
    to_email: str
    subject: str
    text: str
    html: str = ""
    unit_id: int | None = None
    to_user_id: int | None = None
    urgent: bool = False
    files: Sequence[File] = ()


def put(draft: Draft, *, at: datetime) -> Message | None:
    """Write a message in the transaction of its cause; None when one with this key is there already.

    Raises TransactionManagementError outside a transaction.
    """
    if not transaction.get_connection().in_atomic_block:
        raise transaction.TransactionManagementError(
            "Messages are written in the transaction of their cause."
        )
    message, new = Message.objects.get_or_create(
        key=draft.key,
        defaults={
            "agency_id": draft.agency_id,
            "unit_id": draft.unit_id,
            "kind": draft.kind,
            "because": draft.because[:300],
            "urgent": draft.urgent,
            "to_user_id": draft.to_user_id,
            "to_name": draft.to_name,
            "to_email": draft.to_email,
            "subject": " ".join(draft.subject.split())[:200],
            "text": draft.text,
            "html": draft.html,
            "message_id": _message_id(draft.key),
            "made_at": at,
        },
    )
    if not new:
        return None
    for file in draft.files:
        Attachment.objects.create(
            message=message, name=file.name, media_type=file.media_type, content=file.content
        )
    return message


def _message_id(key: str) -> str:
    """Made of the key alone, so that a second try of the same message is known as the same."""
    domain = parseaddr(settings.DEFAULT_FROM_EMAIL)[1].rpartition("@")[2]
    return f"<{uuid5(NAMESPACE_URL, f'{domain}/{key}')}@{domain}>"
