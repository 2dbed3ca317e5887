"""`manage.py bench_mail`: how fast the outbox sends, beside a bare loop over `smtplib`."""

import smtplib
import subprocess
import sys
import time
from argparse import ArgumentParser
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager, suppress
from dataclasses import replace
from email.message import EmailMessage
from email.policy import SMTP
from functools import partial

from django.conf import settings
from django.core.management import BaseCommand, CommandError
from django.db import connection, transaction

from notifications import outbox, sending
from notifications.compose import composed, envelope_sender, sender
from notifications.drill import place
from notifications.drill.run import draft
from notifications.models import Message
from portfolio import clock
from portfolio.celery import app
from portfolio.models import Agency

ROUNDS = 20
"""The two take turns, so that what else the machine does falls on both."""
READY_SECONDS = 30


class Command(BaseCommand):
    help = (
        "Sends invented messages to a mail server on this machine that takes everything: by a bare loop over smtplib, "
        "and by the outbox, which claims and records each of them. Both over one connection at a time."
    )
    requires_system_checks = []

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--messages", type=int, default=10_000, help="how many messages each way (10000)")

    def handle(self, *, messages: int, **options: object) -> None:
        if messages < ROUNDS:
            raise CommandError(f"Ask for at least {ROUNDS} messages.")
        place.enter("bench_mail", messages=messages)
        app.conf.update(broker_url="memory://", broker_transport_options={})
        agency = Agency.objects.create(name="Bench Lettings")
        plain = bare = ours = writing = 0.0
        with _mail_server(settings.EMAIL_PORT):
            for turn in range(ROUNDS):
                numbers = range(turn * messages // ROUNDS, (turn + 1) * messages // ROUNDS)
                drafts = [
                    replace(draft(number, agency.pk), kind="bench", follows=False) for number in numbers
                ]
                writing += _timed(partial(_written, drafts))
                waiting = Message.objects.filter(state="waiting")
                read = list(waiting.select_related("agency").prefetch_related("attachments"))
                plain += _timed(partial(_bare, read, plain_mail))
                bare += _timed(partial(_bare, read, composed))
                ours += _timed(_sent)
        if Message.objects.filter(state="sent", tries=1).count() != messages:
            raise CommandError("Not every message was sent at its first try.")
        where = "PostgreSQL" if connection.vendor == "postgresql" else "SQLite"
        self.stdout.write(f"{messages} messages each way, every tenth with a file of 20 kB; {where}")
        self.stdout.write(f"{messages / ours:6.0f} a second: the outbox")
        for seconds, what in (
            (plain, "a bare loop over smtplib, mail made by Python's email.message"),
            (bare, "the same loop, mail made by our own quicker code"),
        ):
            self.stdout.write(f"{messages / seconds:6.0f} a second: {what}; ratio {seconds / ours:.2f}")
        self.stdout.write(f"{messages / writing:6.0f} a second: writing them to the outbox before")


def _timed(work: Callable[[], None]) -> float:
    began = time.perf_counter()
    work()
    return time.perf_counter() - began


def _bare(messages: Sequence[Message], made: Callable[[Message], bytes]) -> None:
    """A script that reads nothing from a database and remembers nothing."""
    with smtplib.SMTP(settings.EMAIL_HOST, settings.EMAIL_PORT, timeout=10) as smtp:
        for one in messages:
            smtp.sendmail(envelope_sender(), [one.to_email], made(one))


def plain_mail(message: Message) -> bytes:
    """The same mail as scripts make it."""
    mail = EmailMessage(policy=SMTP)
    mail["From"] = sender(message.agency.name)
    mail["To"] = f"{message.to_name} <{message.to_email}>"
    mail["Subject"] = message.subject
    mail["Date"] = message.made_at
    mail["Message-ID"] = message.message_id
    mail["Auto-Submitted"] = "auto-generated"
    mail.set_content(message.text)
    mail.add_alternative(message.html, subtype="html")
    for file in message.attachments.all():
        maintype, subtype = file.media_type.split("/")
        mail.add_attachment(bytes(file.content), maintype=maintype, subtype=subtype, filename=file.name)
    return mail.as_bytes()


def _written(drafts: list[outbox.Draft]) -> None:
    with transaction.atomic():
        for one in drafts:
            outbox.put(one, at=clock.moment().at)


def _sent() -> None:
    while sending.send_waiting(clock.moment):
        pass


@contextmanager
def _mail_server(port: int) -> Iterator[None]:
    """In a process of its own, so that it costs the senders nothing."""
    process = subprocess.Popen([sys.executable, "-m", "notifications.drill.sink", str(port)])  # noqa: S603
    try:
        end = time.monotonic() + READY_SECONDS
        while not _answers(port):
            if time.monotonic() > end:
                raise CommandError("The mail server did not start.")
            time.sleep(0.1)
        yield
    finally:
        process.terminate()
        process.wait()


def _answers(port: int) -> bool:
    with suppress(OSError, smtplib.SMTPException), smtplib.SMTP("127.0.0.1", port, timeout=1):
        return True
    return False
