"""Ending the digest from within a digest: an address that needs no log-in, and the headers of RFC 8058 that name it."""

from django.conf import settings
from django.core.signing import BadSignature, Signer
from django.urls import reverse

from notifications.models import Message

FIELD, ONE_CLICK = "List-Unsubscribe", "One-Click"
"""What a mail program posts to the address, and what the page behind it posts as well (RFC 8058, section 3.1)."""


def address(user_id: int) -> str:
    """Where this person's digest is switched off by whoever has the address; the same in every digest.

    In the words of a message it belongs among its `secrets`: others may read what was said, and must not act by it.
    """
    return f"{settings.SNECK_SITE}{reverse('unsubscribe', args=[_signer().sign(str(user_id))])}"


def reader(signed: str) -> int | None:
    """The id of the person an address was made for; None when it was not made here."""
    try:
        return int(_signer().unsign(signed))
    except (BadSignature, ValueError):
        return None


def headers(message: Message) -> dict[str, str]:
    """The headers by which a mail program can offer to end the digest; none for anything else.

    One click is offered over HTTPS alone, as RFC 8058 has it.
    """
    if message.kind != "digest" or message.to_user_id is None:
        return {}
    there = address(message.to_user_id)
    named = {FIELD: f"<{there}>"}
    return named | {f"{FIELD}-Post": f"{FIELD}={ONE_CLICK}"} if there.startswith("https:") else named


def _signer() -> Signer:
    # Its usual ":" would have to be written in another way in an address.
    return Signer(salt="notifications.unsubscribe", sep=".")
