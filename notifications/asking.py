"""Asks the broker and the mail server whether they answer, within a time that a page can wait."""

from collections.abc import Callable
from dataclasses import dataclass
from queue import Empty, Queue
from threading import Thread

from celery import current_app

from notifications.transport import NoPost, Outcome, Post

BROKER_SECONDS = 1
MAIL_SECONDS = 3


@dataclass(frozen=True, slots=True)
class Answered:
    """Whether it answered, and what was said."""

    well: bool
    said: str


def broker() -> Answered:
    """Does the queue of background work take something?"""
    return within(BROKER_SECONDS, _broker)


def mail_server() -> Answered:
    """Does the mail server take a connection of ours? Nothing is sent."""
    return within(MAIL_SECONDS, _mail_server)


def within(seconds: float, ask: Callable[[], Answered]) -> Answered:
    """What `ask` says, or that it did not in time.

    A thread of its own asks, so that whatever hangs (the look-up of a name knows no limit) hangs alone.
    """
    heard: Queue[Answered] = Queue()
    Thread(target=lambda: heard.put(ask()), daemon=True).start()
    try:
        return heard.get(timeout=seconds)
    except Empty:
        return Answered(False, f"No answer within {seconds:g} second{'' if seconds == 1 else 's'}.")


def _broker() -> Answered:
    quick = {"socket_timeout": BROKER_SECONDS, "socket_connect_timeout": BROKER_SECONDS}
    options = current_app.conf.broker_transport_options | quick
    try:
        with current_app.connection_for_write(transport_options=options) as connection:
            connection.ensure_connection(max_retries=1, interval_start=0, timeout=BROKER_SECONDS)
    except Exception as error:  # each kind of broker has errors of its own
        return Answered(False, " ".join(str(error).split())[:200] or type(error).__name__)
    return Answered(True, "It answers.")


def _mail_server() -> Answered:
    try:
        with Post() as post:
            answer = post.noop()
    except NoPost as trouble:
        return Answered(False, str(trouble))
    return Answered(answer.outcome is Outcome.TAKEN, answer.said)
