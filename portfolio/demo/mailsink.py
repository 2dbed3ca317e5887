"""A post office for the demonstration: takes any message by SMTP and keeps it as an .eml file.

Run it with `python -m portfolio.demo.mailsink FOLDER PORT`. Nothing is ever sent on.
"""

import secrets
import signal
import sys
import threading
from pathlib import Path
from typing import Protocol

from aiosmtpd.controller import Controller

from portfolio import clock


class Envelope(Protocol):
    """The part of an SMTP envelope that is used here."""

    mail_from: str | None
    rcpt_tos: list[str]
    content: bytes | str | None


class Folder:
    """An aiosmtpd handler that writes one file for each message, whole or not at all."""

    def __init__(self, path: Path) -> None:
        self.path = path

    async def handle_DATA(self, server: object, session: object, envelope: Envelope) -> str:
        """Keep the message as received, under two lines that say whom the sender named on the envelope."""
        content = envelope.content or b""
        raw = content.encode() if isinstance(content, str) else content
        head = f"X-Envelope-From: {envelope.mail_from}\r\nX-Envelope-To: {', '.join(envelope.rcpt_tos)}\r\n"
        # Names sort in the order of arrival; the random end keeps two messages of one instant apart.
        name = f"{clock.moment().at:%Y%m%dT%H%M%S%f}-{secrets.token_hex(4)}"
        unfinished = self.path / f"{name}.part"
        unfinished.write_bytes(head.encode() + raw)
        unfinished.rename(self.path / f"{name}.eml")
        return "250 Kept"


def main(folder: str, port: str) -> None:
    path = Path(folder)
    path.mkdir(parents=True, exist_ok=True)
    stop = threading.Event()
    for number in (signal.SIGINT, signal.SIGTERM):
        signal.signal(number, lambda *_: stop.set())
    controller = Controller(Folder(path), hostname="127.0.0.1", port=int(port))
    controller.start()
    stop.wait()
    controller.stop()


if __name__ == "__main__":
    main(*sys.argv[1:])
