"""The drill's mail server: it takes most messages, and plays every trick that it has been told of on the rest.

What it does is decided by the seed, the reader and how often that message was brought, so that a run can be had again.
"""

import asyncio
import hashlib
from collections.abc import Callable
from dataclasses import dataclass, field
from email import message_from_bytes
from random import Random
from types import TracebackType
from typing import Any, Self

from aiosmtpd.controller import Controller

TRICKS = {"rcpt 451": 0.06, "data 451": 0.03, "rcpt hang": 0.005, "rcpt drop": 0.02, "data drop": 0.03}
"""With what chance, at each time that a message is brought. A drop at data comes after it was taken."""
NEVER = {"rcpt 550": 0.03, "data 554": 0.01}
"""With what chance a reader's mail is refused for good."""
HANG_SECONDS = 3


@dataclass
class Delivery:
    """One message that was taken."""

    message_id: str
    digest: str
    dropped: bool
    """The connection was broken off by the mail server before it answered."""
    known: bool = False
    """The sender went on over the same connection, so it had the answer and has recorded it."""
    with_link: bool = False


@dataclass
class Office:
    """A context manager: listens on this machine."""

    port: int
    seed: int
    link: bytes
    """Part of the secret link that each message carries."""
    on_delivery: Callable[[int], None] = lambda count: None
    """Called with the number of deliveries so far, before the sender has its answer."""
    deliveries: dict[str, list[Delivery]] = field(default_factory=dict)
    brought: dict[str, int] = field(default_factory=dict)
    tricks: dict[str, int] = field(default_factory=dict)
    count: int = 0

    def __enter__(self) -> Self:
        self._controller = Controller(self, hostname="127.0.0.1", port=self.port)
        self._controller.start()
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._controller.stop()

    def refuses(self, reader: str) -> bool:
        return bool(_drawn(NEVER, f"{self.seed}:{reader}"))

    def trick(self, reader: str) -> str:
        """What is done with this reader's message this time; "" for nothing."""
        never = _drawn(NEVER, f"{self.seed}:{reader}")
        return never or _drawn(TRICKS, f"{self.seed}:{reader}:{self.brought[reader]}")

    async def handle_MAIL(
        self, server: Any, session: Any, envelope: Any, address: str, options: list[str]
    ) -> str:
        _went_on(session)
        envelope.mail_from = address
        return "250 OK"

    async def handle_RCPT(
        self, server: Any, session: Any, envelope: Any, address: str, options: list[str]
    ) -> str:
        self.brought[address] = self.brought.get(address, 0) + 1
        answer = await self._play("rcpt", self.trick(address), server)
        if not answer:
            envelope.rcpt_tos.append(address)
        return answer or "250 OK"

    async def handle_DATA(self, server: Any, session: Any, envelope: Any) -> str:
        reader = envelope.rcpt_tos[0]
        trick = self.trick(reader)
        if trick in ("", "data drop"):
            mail = message_from_bytes(envelope.content)
            digest = hashlib.sha256(envelope.content).hexdigest()
            one = Delivery(mail["Message-ID"], digest, bool(trick), with_link=self.link in envelope.content)
            self.deliveries.setdefault(reader, []).append(one)
            session.last = one
            self.count += 1
            self.on_delivery(self.count)
        return await self._play("data", trick, server) or "250 Kept"

    async def handle_QUIT(self, server: Any, session: Any, envelope: Any) -> str:
        _went_on(session)
        return "221 Bye"

    async def _play(self, phase: str, trick: str, server: Any) -> str:
        if not trick.startswith(phase):
            return ""
        self.tricks[trick] = self.tricks.get(trick, 0) + 1
        what = trick.split()[1]
        if what == "hang":
            await asyncio.sleep(HANG_SECONDS)
        if what in ("hang", "drop"):
            server.transport.abort()
        return f"{what} As the drill has it" if what.isdigit() else "451 Nobody reads this"


def _drawn(chances: dict[str, float], seed: str) -> str:
    """One of these by its chance, the same each time for a seed; "" for none of them."""
    left = Random(seed).random()  # noqa: S311 - chance, not secrecy
    for name, chance in chances.items():
        if left < chance:
            return name
        left -= chance
    return ""


def _went_on(session: Any) -> None:
    last = getattr(session, "last", None)
    if last is not None:
        last.known = True
