"""The talk with the mail server: one connection for many messages, and every answer sorted.

`smtplib` does not tell whether a connection broke before or after the message was handed over. Here that decides
between *try again* and *it may have arrived*, so the steps are taken one by one.
"""

import re
import smtplib
import ssl
from collections.abc import Callable
from dataclasses import dataclass
from enum import StrEnum
from ipaddress import ip_address
from types import TracebackType
from typing import Self

from django.conf import settings

from notifications.addresses import needs_utf8

OUR_FAULT = {421, 530, 534, 535, 538}
"""Said of the connection or of our log-in, not of this message: never a reason to give it up."""
NOT_OF_ADDRESS = {500, 502, 503, 504, 552}
"""Refusals of a recipient that are about our commands, or about a mailbox that is full."""
NOT_OF_ADDRESS_WORDS = (b"relay", b"policy", b"spam", b"blocked", b"blacklist", b"block list", b"black list")
"""What servers say of whoever sends, where they give no code of RFC 3463 for it."""
_SUBJECT = re.compile(rb"\s*5\.(\d{1,3})\.(\d{1,3})\b")
NO_UTF8 = (
    "The part before the @ of this address has letters that this mail server does not know. Ask for an address in "
    "plain letters, or send by a mail server that offers SMTPUTF8."
)


class Outcome(StrEnum):
    """What became of one try."""

    TAKEN = "taken"
    AGAIN = "again"
    """Not taken this time (4xx, or the connection broke before the message was handed over)."""
    NEVER = "never"
    """Refused for good (5xx)."""
    LOST = "lost"
    """Handed over, and the answer never came: it may have arrived."""


@dataclass(frozen=True, slots=True)
class Answer:
    outcome: Outcome
    said: str
    of_address: bool = False
    """It was refused because of the address it goes to, so that another message to it would fare no better."""


class NoPost(Exception):
    """No connection can be had; no message was tried. The message says what is wrong and how to put it right."""


class _Broken(Exception):
    """The connection broke before the message was handed over."""


class Post:
    """A context manager: a connection to the mail server, opened when first needed and kept for the next message."""

    def __init__(self) -> None:
        self._smtp: smtplib.SMTP | None = None
        self._used = False
        self.breaks = 0
        """How often in a row a new connection broke over a message."""

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close(politely=error is None)

    def ready(self) -> None:
        """Have a connection. Raises NoPost."""
        if self._smtp is None or self._smtp.sock is None:
            self._smtp, self._used = _connected(), False

    def send(self, sender: str, recipient: str, content: bytes) -> Answer:
        """Hand over one message. Raises NoPost when not even a connection can be had."""
        self.ready()
        used = self._used
        try:
            answer = self._handed_over(sender, recipient, content)
        except _Broken as broken:
            self.close(politely=False)
            if used:
                # Servers end a connection after a while or after so many messages; that is not about this one.
                return self.send(sender, recipient, content)
            self.breaks += 1
            return Answer(Outcome.AGAIN, str(broken))
        self._used = True
        self.breaks = self.breaks + 1 if answer.outcome is Outcome.LOST else 0
        return answer

    def noop(self) -> Answer:
        """What the server says when nothing is asked of it. Raises NoPost."""
        self.ready()
        assert self._smtp is not None
        try:
            code, said = _step(self._smtp.noop)
        except _Broken as broken:
            return Answer(Outcome.AGAIN, str(broken))
        return Answer(_sorted(code), _words(code, said))

    def close(self, *, politely: bool) -> None:
        smtp, self._smtp = self._smtp, None
        if smtp is None:
            return
        try:
            if politely and smtp.sock is not None:
                smtp.quit()
        except (smtplib.SMTPException, OSError):
            pass  # it is over in any case
        finally:
            smtp.close()

    def _handed_over(self, sender: str, recipient: str, content: bytes) -> Answer:
        smtp = self._smtp
        assert smtp is not None
        utf8 = needs_utf8(recipient)
        if utf8 and not smtp.has_extn("smtputf8"):
            return Answer(Outcome.NEVER, NO_UTF8, of_address=True)
        options = ("BODY=8BITMIME", "SMTPUTF8") if utf8 else ()
        for name, step in (
            ("MAIL", lambda: smtp.mail(sender, options)),
            ("RCPT", lambda: smtp.rcpt(recipient)),
            ("DATA", lambda: smtp.docmd("DATA")),
        ):
            code, said = _step(step)
            if not 200 <= code < 400:
                self._begin_anew(code)
                if name == "MAIL":  # about our own address, which is that of all messages
                    return Answer(Outcome.AGAIN, _words(code, said))
                return Answer(_sorted(code), _words(code, said), name == "RCPT" and _of_address(code, said))
        try:
            assert smtp.sock is not None
            smtp.sock.settimeout(settings.SMTP_LAST_ANSWER_SECONDS)
            smtp.send(_dotted(content))
            code, said = smtp.getreply()
            smtp.sock.settimeout(settings.EMAIL_TIMEOUT)
        except (smtplib.SMTPException, OSError) as error:
            self.close(politely=False)
            return Answer(Outcome.LOST, _one_line(f"The answer was lost: {error}"))
        if not 200 <= code < 300 and not 400 <= code < 600:
            self.close(politely=False)
            return Answer(Outcome.LOST, "The answer was lost: it made no sense.")
        if code == 421:
            self.close(politely=False)
        return Answer(_sorted(code), _words(code, said))

    def _begin_anew(self, code: int) -> None:
        """After a refusal in the middle of a message."""
        smtp = self._smtp
        try:
            if smtp is not None and code != 421:
                smtp.rset()
                return
        except (smtplib.SMTPException, OSError):
            pass
        self.close(politely=False)


def _step(step: Callable[[], tuple[int, bytes]]) -> tuple[int, bytes]:
    """One command and its reply. Raises _Broken."""
    try:
        code, said = step()
    except UnicodeEncodeError as error:
        return 553, f"The address cannot be written for the mail server: {error}".encode()
    except (smtplib.SMTPException, OSError) as error:
        raise _Broken(_one_line(f"The connection broke: {error}")) from error
    if code in (-1, 421):
        raise _Broken(_words(code, said))
    return code, said


def _sorted(code: int) -> Outcome:
    if 200 <= code < 300:
        return Outcome.TAKEN
    return Outcome.NEVER if code >= 500 and code not in OUR_FAULT else Outcome.AGAIN


def _of_address(code: int, said: bytes) -> bool:
    """Does this refusal of a recipient mean that nobody is reached there? RFC 3463 has codes that say what it is about.

    Not: a policy (5.7), a mailbox that is full or a message too long for it (5.2.2, 5.2.3), the sender (5.1.7, 5.1.8).
    """
    if _sorted(code) is not Outcome.NEVER:
        return False
    found = _SUBJECT.match(said)
    if found is None:
        return code not in NOT_OF_ADDRESS and not any(word in said.lower() for word in NOT_OF_ADDRESS_WORDS)
    subject, detail = map(int, found.groups())
    others = {1: {7, 8}, 2: {2, 3}}
    return (
        subject in (0, 1, 2, 4)
        and detail not in others.get(subject, ())
        and (subject != 4 or detail in (1, 4))
    )


def _dotted(content: bytes) -> bytes:
    """With dots doubled at the beginning of lines, and the line that ends it."""
    body = content if content.endswith(b"\r\n") else content + b"\r\n"
    body = body.replace(b"\r\n.", b"\r\n..")
    return (b"." + body if body.startswith(b".") else body) + b".\r\n"


def _connected() -> smtplib.SMTP:
    host, port, secure = settings.EMAIL_HOST, settings.EMAIL_PORT, ssl.create_default_context
    try:
        if settings.EMAIL_USE_SSL:
            smtp: smtplib.SMTP = smtplib.SMTP_SSL(
                host, port, timeout=settings.EMAIL_TIMEOUT, context=secure()
            )
        else:
            smtp = smtplib.SMTP(host, port, timeout=settings.EMAIL_TIMEOUT)
    except (smtplib.SMTPException, OSError) as error:
        raise NoPost(f"The mail server {host}:{port} cannot be reached: {error}") from error
    try:
        smtp.ehlo_or_helo_if_needed()
        if settings.EMAIL_USE_TLS:
            smtp.starttls(context=secure())
            smtp.ehlo_or_helo_if_needed()  # what was said in the clear counts no more
        if settings.EMAIL_HOST_USER:
            _log_in(smtp, host)
    except (smtplib.SMTPException, OSError) as error:
        smtp.close()
        raise NoPost(f"The mail server {host}:{port} did not let us in: {error}") from error
    except NoPost:
        smtp.close()
        raise
    return smtp


def _log_in(smtp: smtplib.SMTP, host: str) -> None:
    if not (settings.EMAIL_USE_SSL or settings.EMAIL_USE_TLS or _is_here(host)):
        raise NoPost(
            f"The password for {host} is not sent over a connection that anybody can read: "
            "set SNECK_SMTP_SECURITY to starttls or tls."
        )
    smtp.login(settings.EMAIL_HOST_USER, settings.EMAIL_HOST_PASSWORD)


def _is_here(host: str) -> bool:
    try:
        return host == "localhost" or ip_address(host).is_loopback
    except ValueError:
        return False


def _words(code: int, said: bytes) -> str:
    return _one_line(f"{code} {said.decode(errors='replace')}" if code > 0 else "The connection broke.")


def _one_line(text: str) -> str:
    return " ".join(text.split())[:300]
