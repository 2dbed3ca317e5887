"""Where any app leaves a message. A leaf: it knows nothing of homes, defects or jobs."""

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from email.utils import parseaddr
from typing import Any, NamedTuple
from uuid import NAMESPACE_URL, uuid5

from celery import current_app
from django.conf import settings
from django.db import transaction
from django.db.models import Q
from django.template.loader import render_to_string

from notifications.blank import blank_files, blanked
from notifications.models import Attachment, Message, RefusedAddress
from notifications.words import DUE_STATES, FAILED, HELD, SENDING, WAITING, WITHDRAWN
from portfolio.clock import LONDON

SEND_TASK = "notifications.send_waiting"
MOST_ASKED = 500
"""Addresses that a database is asked for by name; for more, it is asked for all that are refused."""


@dataclass(frozen=True, slots=True)
class File:
    """A file to go with a message."""

    name: str
    media_type: str
    content: bytes


@dataclass(frozen=True, slots=True)
class Draft:
    """A message to one person. The same `key` again is the same message, and is not written twice.

    `secrets`: links in it that let whoever has them act. They are blanked in what is kept once it is sent. Files
    that are not text must not carry any. `follows`: something is to be recorded once the mail server has taken it, by
    the function that settings.NOTIFICATION_AFTER names for the kind; `data` is what that needs to know.
    """

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
    reply_to: str = ""
    urgent: bool = False
    files: Sequence[File] = ()
    secrets: Sequence[str] = ()
    follows: bool = False
    data: Mapping[str, Any] = field(default_factory=dict)


class Letter(NamedTuple):
    """A message in words."""

    subject: str
    text: str
    html: str


def letter(kind: str, page: Mapping[str, Any]) -> Letter:
    """What a message of a kind says, by its templates in `emails/<kind>/`."""
    subject, text, html = (
        render_to_string(f"emails/{kind}/{name}", dict(page))
        for name in ("subject.txt", "body.txt", "body.html")
    )
    return Letter(subject.strip(), text.strip() + "\n", html)


def put(draft: Draft, *, at: datetime) -> Message | None:
    """Write a message in the transaction of its cause; None when one with this key is there already.

    It is sent soon after that transaction commits. Raises TransactionManagementError outside a transaction.
    """
    if not transaction.get_connection().in_atomic_block:
        raise transaction.TransactionManagementError(
            "Messages are written in the transaction of their cause."
        )
    message, new = Message.objects.get_or_create(key=draft.key, defaults=_written(draft, at))
    if not new:
        return None
    for file in draft.files:
        Attachment.objects.create(
            message=message, name=file.name, media_type=file.media_type, content=file.content
        )
    wake_after_commit()
    return message


def withdraw(*, key: str = "", key_prefix: str = "", why: str, at: datetime) -> int:
    """Withdraw what is not sent yet, of one key or of all that begin so: its cause is gone. Returns how many.

    What is in the mail server's hands at this moment may still be sent; it is withdrawn if that does not succeed.
    Raises ValueError without a reason, and without a key: that would be every message there is.
    """
    if not why.strip() or not (key or key_prefix):
        raise ValueError("Say which messages are withdrawn, and why.")
    which = Q(key=key) if key else Q(key__startswith=key_prefix)
    with transaction.atomic():
        in_flight = Message.objects.filter(which, state=SENDING, withdrawn_why="")
        in_flight.update(withdrawn_why=why[:300])
        found = Message.objects.filter(which, state__in=[*DUE_STATES, HELD, FAILED])
        return sum(end(message, why=why, at=at) for message in found)


def end(message: Message, *, why: str, at: datetime) -> bool:
    """Withdraw one message in the state in which it was read, and blank its links; False if it moved on meanwhile.

    Belongs in a transaction.
    """
    same = Message.objects.filter(pk=message.pk, state=message.state, tries=message.tries)
    changed = same.update(
        state=WITHDRAWN, withdrawn_why=why[:300], next_try_at=None, **without_links(message, at)
    )
    if changed and message.secrets:
        blank_files(message)
    return bool(changed)


def without_links(message: Message, at: datetime) -> dict[str, Any]:
    """What to store in place of a text with secret links; nothing where there are none."""
    if not message.secrets:
        return {}
    texts = {
        name: blanked(getattr(message, name), message.secrets.split()) for name in ("subject", "text", "html")
    }
    return {**texts, "secrets": "", "blanked_at": at}


def refused(agency_id: int, emails: Collection[str]) -> dict[str, str]:
    """For each of these addresses that a mail server refuses, a sentence that says so. One query."""
    wanted = {email: email.lower() for email in emails if email}
    if not wanted:
        return {}
    found = RefusedAddress.objects.filter(agency=agency_id, ended_at=None)
    if len(wanted) <= MOST_ASKED:
        found = found.filter(email__in=set(wanted.values()))
    held = {one.email: one for one in found}
    return {email: refusal(held[lower]) for email, lower in wanted.items() if lower in held}


def refusal(one: RefusedAddress) -> str:
    """That mail to an address is refused, since when and in what words, as a sentence."""
    since, said = one.since.astimezone(LONDON), one.said.rstrip(".")
    return f"Mail to {one.email} has been refused since {since:%-d %B %Y}: {said}."


def wake_after_commit() -> None:
    """Have what is due sent once the transaction commits; asked for once in each, however many messages it writes.

    A broker that is away is no error: the sweep finds the message.
    """
    asked = transaction.get_connection().run_on_commit
    # What a savepoint asked for goes when that is rolled back, and its messages with it; so whatever is there stands.
    if not any(call is wake for _, call, _ in asked):
        transaction.on_commit(wake, robust=True)


def wake() -> None:
    current_app.send_task(SEND_TASK)


def _written(draft: Draft, at: datetime) -> dict[str, Any]:
    """A draft as a row, due at once."""
    return {
        "agency_id": draft.agency_id,
        "unit_id": draft.unit_id,
        "kind": draft.kind,
        "because": draft.because[:300],
        "urgent": draft.urgent,
        "to_user_id": draft.to_user_id,
        "to_name": draft.to_name,
        "to_email": draft.to_email,
        "reply_to": draft.reply_to,
        "subject": " ".join(draft.subject.split())[:200],
        "text": draft.text,
        "html": draft.html,
        "secrets": "\n".join(draft.secrets),
        "follows": draft.follows,
        "data": dict(draft.data),
        "message_id": _message_id(draft.key),
        "made_at": at,
        "state": WAITING,
        "next_try_at": at,
    }


def _message_id(key: str) -> str:
    """Made of the key alone, so that a second try of the same message is known as the same."""
    domain = parseaddr(settings.DEFAULT_FROM_EMAIL)[1].rpartition("@")[2]
    return f"<{uuid5(NAMESPACE_URL, f'{domain}/{key}')}@{domain}>"
