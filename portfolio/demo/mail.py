"""Reads the messages that the demonstration's post office kept."""

import re
from dataclasses import dataclass
from email import policy
from email.message import EmailMessage
from email.parser import BytesParser
from pathlib import Path

NAME = re.compile(r"[0-9T]+-[0-9a-f]+")


@dataclass(frozen=True)
class Kept:
    """One message, decoded for reading: nothing in it is trusted, and all of it is shown as text."""

    name: str
    subject: str
    sender: str
    recipients: str
    sent: str
    text: str
    html_source: str
    attachments: tuple[str, ...]


def names(folder: Path) -> list[str]:
    """Names of all kept messages, the newest first."""
    return sorted((path.stem for path in folder.glob("*.eml") if NAME.fullmatch(path.stem)), reverse=True)


def path_of(folder: Path, name: str) -> Path:
    """The file of a message. Raises FileNotFoundError for a name that is none of ours or is not there."""
    path = folder / f"{name}.eml"
    if not NAME.fullmatch(name) or not path.is_file():
        raise FileNotFoundError(name)
    return path


def read(folder: Path, name: str) -> Kept:
    """Raises FileNotFoundError, as `path_of` does."""
    parser = BytesParser(EmailMessage, policy=policy.default)
    message = parser.parsebytes(path_of(folder, name).read_bytes())
    return Kept(
        name=name,
        subject=str(message["Subject"] or "(no subject)"),
        sender=str(message["From"] or ""),
        recipients=str(message["X-Envelope-To"] or ""),
        sent=str(message["Date"] or ""),
        text=_body(message, "plain"),
        html_source=_body(message, "html"),
        attachments=tuple(part.get_filename() or "(no name)" for part in message.iter_attachments()),
    )


def _body(message: EmailMessage, kind: str) -> str:
    part = message.get_body(preferencelist=(kind,))
    if part is None:
        return ""
    payload = part.get_payload(decode=True)
    raw = payload if isinstance(payload, bytes) else b""
    try:
        return raw.decode(part.get_content_charset("utf-8"), errors="replace")
    except LookupError:  # a character set that Python does not know
        return raw.decode("utf-8", errors="replace")
