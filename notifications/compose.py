"""A message as it goes over the wire: the same bytes however often it is tried."""

from contextlib import suppress
from email import encoders
from email.message import Message as Part
from email.mime.base import MIMEBase
from email.utils import format_datetime, formataddr, parseaddr
from functools import lru_cache
from typing import Any, cast

from django.conf import settings
from django.core.mail import EmailMultiAlternatives
from django.core.mail.message import utf8_charset_qp

from notifications import unsubscribe
from notifications.addresses import Unwritable, for_wire, needs_utf8
from notifications.models import Attachment, Message


def composed(message: Message) -> bytes:
    """Text, HTML beside it, then the files; in seven bits, which any relay takes.

    Raises Unwritable when no mail server could take the address it goes to.
    """
    to, utf8 = for_wire(message.to_email), needs_utf8(message.to_email)
    mail = EmailMultiAlternatives(
        subject=message.subject,
        body=message.text,
        from_email=sender(message.agency.name),
        to=[] if utf8 else [formataddr((_plain(message.to_name), to))],
        reply_to=_reply_to(message.reply_to),
        headers={
            "Date": format_datetime(message.made_at),
            "Message-ID": message.message_id,
            "Auto-Submitted": "auto-generated",  # absence notes are not to answer it
            **unsubscribe.headers(message),
        },
    )
    mail.encoding = cast(Any, utf8_charset_qp)
    if message.html:
        mail.attach_alternative(message.html, "text/html")
    for file in message.attachments.all():
        mail.attach(_part(file))
    whole = mail.message()
    if utf8:
        # As RFC 6532 has it; only servers that know such letters are handed this.
        whole.set_raw("To", to.encode().decode("ascii", "surrogateescape"))
    # Boundaries are random otherwise, and a message that is tried twice would differ.
    local = message.message_id.strip("<>").partition("@")[0]
    for number, part in enumerate(part for part in whole.walk() if part.is_multipart()):
        part.set_boundary(f"={number}={local}=")
    return bytes(whole.as_bytes(linesep="\r\n"))  # type: ignore[call-arg]


def sender(agency: str) -> str:
    """The site's own address under the agency's name: that is whom the reader knows."""
    return _named(settings.DEFAULT_FROM_EMAIL, agency)


def envelope_sender() -> str:
    return _bare(settings.DEFAULT_FROM_EMAIL)


@lru_cache(maxsize=1000)
def _named(site: str, agency: str) -> str:
    name = parseaddr(site)[0]
    return formataddr((f"{_plain(agency)} ({name})" if name else _plain(agency), _bare(site)))


@lru_cache(maxsize=10)
def _bare(site: str) -> str:
    return for_wire(parseaddr(site)[1])


def _reply_to(email: str) -> list[str] | None:
    """Where answers go. An address that the reader's own mail server may not know how to write to is left out."""
    with suppress(Unwritable):
        if email and not needs_utf8(email):
            return [for_wire(email)]
    return None


def _plain(name: str) -> str:
    """A name on one line: what people typed must not begin a header of its own."""
    return " ".join(name.split())


def _part(file: Attachment) -> MIMEBase:
    maintype, subtype, params = _kind(file.media_type)
    part = MIMEBase(maintype, subtype, **cast(Any, params))
    part.set_payload(bytes(file.content))
    encoders.encode_base64(part)
    part.add_header("Content-Disposition", "attachment", filename=file.name)
    return part


@lru_cache(maxsize=100)
def _kind(media_type: str) -> tuple[str, str, dict[str, str]]:
    """A media type taken apart: `text/calendar; method=REQUEST`."""
    header = Part()
    header["Content-Type"] = media_type
    params = header.get_params() or []
    return header.get_content_maintype(), header.get_content_subtype(), dict(params[1:])
