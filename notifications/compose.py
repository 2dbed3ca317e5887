"""A message as it goes over the wire: the same bytes however often it is tried."""

from email.headerregistry import Address
from email.message import EmailMessage
from email.policy import SMTP
from email.utils import format_datetime, parseaddr
from functools import lru_cache

from django.conf import settings

from notifications.models import Attachment, Message

POLICY = SMTP.clone(cte_type="7bit")
"""Any relay takes seven bits; and lines end as SMTP wants them."""


def composed(message: Message) -> EmailMessage:
    """Text, HTML beside it, then the files. Raises ValueError when a name or address does not fit in a header."""
    mail = EmailMessage(policy=POLICY)
    mail["From"] = sender(message.agency.name)
    mail["To"] = Address(_plain(message.to_name), addr_spec=message.to_email)
    mail["Subject"] = message.subject
    mail["Date"] = format_datetime(message.made_at)
    mail["Message-ID"] = message.message_id
    if message.reply_to:
        mail["Reply-To"] = message.reply_to
    # Absence notes are not to answer it.
    mail["Auto-Submitted"] = "auto-generated"
    mail.set_content(message.text)
    if message.html:
        mail.add_alternative(message.html, subtype="html")
        _same_boundary(mail, message, "body")
    for file in message.attachments.all():
        _attach(mail, file)
    if mail.get_content_type() == "multipart/mixed":
        _same_boundary(mail, message, "files")
    return mail


@lru_cache(maxsize=100)
def sender(agency: str) -> Address:
    """The site's own address under the agency's name: that is whom the reader knows."""
    name, address = parseaddr(settings.DEFAULT_FROM_EMAIL)
    return Address(f"{_plain(agency)} ({name})" if name else _plain(agency), addr_spec=address)


def envelope_sender() -> str:
    return parseaddr(settings.DEFAULT_FROM_EMAIL)[1]


def _plain(name: str) -> str:
    """A name on one line: what people typed must not begin a header of its own."""
    return " ".join(name.split())


def _same_boundary(mail: EmailMessage, message: Message, part: str) -> None:
    """Boundaries are random otherwise, and a message tried twice would differ."""
    local = message.message_id.strip("<>").partition("@")[0]
    mail.set_boundary(f"={part}-{local}=")


def _attach(mail: EmailMessage, file: Attachment) -> None:
    kind = EmailMessage(policy=POLICY)
    kind["Content-Type"] = file.media_type
    told = kind["Content-Type"]
    mail.add_attachment(
        bytes(file.content),
        maintype=told.maintype,
        subtype=told.subtype,
        filename=file.name,
        params=dict(told.params),
    )
