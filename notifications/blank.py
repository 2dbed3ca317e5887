"""Secret links leave a message once it needs them no longer; the rest stays as evidence of what was said."""

import html
import re
from collections.abc import Iterable

from notifications.models import Message
from notifications.words import HIDDEN

_FOLD = r"(?:\r?\n[ \t])?"
"""iCalendar breaks long lines anywhere; a link that is broken so is still a link."""


def blanked(text: str, secrets: Iterable[str]) -> str:
    """The text with each secret replaced, also where it is written as HTML or folded over lines."""
    for secret in sorted(secrets, key=len, reverse=True):
        for written in dict.fromkeys((secret, html.escape(secret))):
            if written in text:
                text = text.replace(written, HIDDEN)
            elif written[:8] in text:
                text = re.sub(_FOLD.join(map(re.escape, written)), HIDDEN, text)
    return text


def has_texts(message: Message) -> bool:
    """Are there files in which a secret may stand?"""
    return any(file.media_type.startswith("text/") for file in message.attachments.all())


def blank_files(message: Message) -> None:
    """Blank the message's secrets in its files that are text. Others carry none: whoever writes them sees to that."""
    for file in message.attachments.all():
        if not file.media_type.startswith("text/"):
            continue
        was = bytes(file.content).decode()
        now = blanked(was, message.secrets.split())
        if now != was:
            file.content = now.encode()
            file.save(update_fields=["content"])
