"""A real mail server for tests: it takes, refuses, puts off, hangs and breaks off as it is told."""

import asyncio
import ssl
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from email import message_from_bytes, policy
from email.message import EmailMessage
from typing import Any

from aiosmtpd.controller import Controller
from aiosmtpd.smtp import AuthResult, Envelope

from portfolio.demo.programs import free_port

Script = Callable[[str, int], str]
"""What to do with a recipient's mail at its nth time (from 1); "" takes it. Otherwise `PHASE what`: PHASE is rcpt or
data, `what` an SMTP answer, or `hang` or `drop`. A drop at data comes after the message was taken."""


@dataclass
class Office:
    """What it was told to do, and what came in."""

    script: Script = lambda recipient, time: ""
    came: list[tuple[str, EmailMessage]] = field(default_factory=list)
    asked: dict[str, int] = field(default_factory=dict)
    connections: int = 0
    of_senders: str = ""
    """What it answers to whoever wants to send; "" lets them."""
    hang_seconds: float = 3
    port: int = 0

    def to(self, recipient: str) -> list[EmailMessage]:
        return [mail for name, mail in self.came if name == recipient]

    async def handle_EHLO(
        self, server: Any, session: Any, envelope: Envelope, hostname: str, said: list[str]
    ) -> list[str]:
        self.connections += 1
        session.host_name = hostname
        return said

    async def handle_MAIL(
        self, server: Any, session: Any, envelope: Envelope, address: str, options: list[str]
    ) -> str:
        if not self.of_senders:
            envelope.mail_from = address
            envelope.mail_options.extend(options)
        return self.of_senders or "250 OK"

    async def handle_RCPT(
        self, server: Any, session: Any, envelope: Envelope, address: str, options: list[str]
    ) -> str:
        self.asked[address] = self.asked.get(address, 0) + 1
        answer = await self._scripted("rcpt", server, address)
        if not answer:
            envelope.rcpt_tos.append(address)
        return answer or "250 OK"

    async def handle_DATA(self, server: Any, session: Any, envelope: Envelope) -> str:
        recipient = envelope.rcpt_tos[0]
        told = self.script(recipient, self.asked[recipient])
        content = envelope.content
        assert isinstance(content, bytes)
        mail = message_from_bytes(content, _class=EmailMessage, policy=policy.default)
        if told in ("", "data drop", "data hang"):
            self.came.append((recipient, mail))
        return await self._scripted("data", server, recipient) or "250 Kept"

    async def _scripted(self, phase: str, server: Any, recipient: str) -> str:
        told = self.script(recipient, self.asked[recipient])
        if not told.startswith(f"{phase} "):
            return ""
        what = told.removeprefix(f"{phase} ")
        if what == "hang":
            await asyncio.sleep(self.hang_seconds)
        if what in ("hang", "drop"):
            server.transport.abort()
            return "451 Never read"
        return what


@contextmanager
def opened(
    *,
    tls: ssl.SSLContext | None = None,
    starttls: ssl.SSLContext | None = None,
    password: str = "",
    utf8: bool = True,
) -> Iterator[Office]:
    """A mail server on this machine, on a port of its own, for as long as the context lasts."""
    office = Office()
    more: dict[str, Any] = {"enable_SMTPUTF8": utf8}
    if starttls:
        more |= {"tls_context": starttls, "require_starttls": True}
    if password:

        def known(server: Any, session: Any, envelope: Any, mechanism: str, data: Any) -> AuthResult:
            right = data.password == password.encode()
            return AuthResult(success=right, handled=right)

        more |= {"authenticator": known, "auth_required": True, "auth_require_tls": bool(starttls)}
    controller = Controller(office, hostname="127.0.0.1", port=free_port(), ssl_context=tls, **more)
    controller.start()
    office.port = controller.port
    try:
        yield office
    finally:
        controller.stop()
