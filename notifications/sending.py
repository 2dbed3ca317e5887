"""What is due is claimed, sent and recorded: in this order, each committed before the next begins.

A message is claimed by an UPDATE that only one process can win, so that it is never in two hands; `tries` counts the
claims, and an answer is only recorded for the claim it belongs to. A process may die at any point: what it held is
found by `sweep`, counts as *unclear*, and is sent again under the same Message-ID.
"""

import logging
import os
import socket
import time
from collections.abc import Callable, Iterable
from datetime import datetime, timedelta
from functools import lru_cache
from typing import Any

from django.conf import settings
from django.db import transaction
from django.db.models import Q

from notifications import afterwards, life, outbox, refusals
from notifications.addresses import Unwritable, for_wire
from notifications.blank import blank_files, has_texts
from notifications.causes import why_not
from notifications.compose import composed, envelope_sender
from notifications.models import Message
from notifications.rows import moved
from notifications.transport import Answer, NoPost, Outcome, Post
from notifications.words import DUE_STATES, FAILED, HELD, SENDING, SENT, UNCLEAR, WAITING
from portfolio.clock import Moment

Now = Callable[[], Moment]
"""Reads the clock: a batch lasts, and each claim and each answer has its own instant."""
MOST = 200
"""Messages in one batch."""
LONGEST_SECONDS = 20
"""After this a batch ends, so that a task stays short."""
PAGE = 50
MOST_BREAKS = 3
"""In a row: then the mail server is left alone until the next sweep."""
KEEP_LINKS = timedelta(days=30)
"""How long a message that is not sent by itself any more keeps its links, in case somebody has it sent."""
ENDED = "The process that sent it ended before it could record the answer."
log = logging.getLogger(__name__)


def send_waiting(now: Now, *, most: int = MOST) -> bool:
    """Send what is due over one connection, the urgent first; returns whether more is left for another batch.

    When the mail server cannot be reached nothing is touched, and the next sweep tries again.
    """
    end, taken = time.monotonic() + LONGEST_SECONDS, False
    with Post() as post:
        try:
            for message, marks in _due_ones(now, most):
                if time.monotonic() > end:
                    return True
                post.ready()
                if _send_one(message, marks, post, now) is Outcome.TAKEN and not taken:
                    taken = True
                    life.seen(life.MAIL_TAKEN, at=now().at)
                if post.breaks >= MOST_BREAKS:
                    raise NoPost("The mail server breaks every connection; left alone for now.")
        except NoPost as trouble:
            log.warning("%s", trouble)
            life.seen(life.MAIL_TROUBLE, str(trouble), at=now().at)
            return False
    return due(now().at).exists()


def due(at: datetime) -> Any:
    """Messages whose time has come, in the order in which they are sent."""
    found = Message.objects.filter(
        next_try_at__lte=at, withdrawn_why=""
    )  # only what may be tried has a next try
    return found.order_by("-urgent", "next_try_at", "pk")


def _due_ones(now: Now, most: int) -> Iterable[tuple[Message, refusals.Marks]]:
    """Up to so many due messages, read page by page with what else is asked of each: others may take them meanwhile."""
    while most > 0:
        with_all = due(now().at).select_related("agency", "to_user__telling").prefetch_related("attachments")
        page = list(with_all[: min(PAGE, most)])
        marks = refusals.marks(page)
        yield from ((message, marks) for message in page)
        most = most - len(page) if page else 0


def _send_one(message: Message, marks: refusals.Marks, post: Post, now: Now) -> Outcome | None:
    """What became of it; None if it was not tried."""
    if not claim(message, at=now().at):
        return None  # somebody else has it, or it was held back or withdrawn
    try:
        gone = refusals.why_not(message, marks) or why_not(message)
        to, content = ("", b"") if gone else (for_wire(message.to_email), composed(message))
    except Unwritable as wrong:
        return _finish(message, Answer(Outcome.NEVER, str(wrong)[:300], of_address=True), marks, now)
    except Exception as error:  # one message that cannot be made ready must not stop the others
        log.exception("Message %s cannot be made ready.", message.pk)
        return _finish(
            message, Answer(Outcome.AGAIN, f"It could not be made ready: {error}"[:300]), marks, now
        )
    if gone:
        with transaction.atomic():
            outbox.end(message, why=gone, at=now().at)
        return None
    try:
        answer = post.send(envelope_sender(), to, content)
    except NoPost as trouble:
        _let_go(message, str(trouble), at=now().at)
        raise
    return _finish(message, answer, marks, now)


def _finish(message: Message, answer: Answer, marks: refusals.Marks, now: Now) -> Outcome:
    """Record the answer, and what follows from it."""
    if record(message, answer, at=now().at):
        if answer.outcome is Outcome.TAKEN and message.follows:
            afterwards.follow(message.pk, moment=now())
        if answer.of_address:
            marks |= refusals.marks([message])
    return answer.outcome


def claim(message: Message, *, at: datetime) -> bool:
    """Take a due message for this process; False if it is no longer as it was read. Commits."""
    by = _me(os.getpid())
    if not moved(
        message,
        [message.state],
        state=SENDING,
        next_try_at=None,
        claimed_at=at,
        claimed_by=by,
        tries=message.tries + 1,
    ):
        return False
    message.state, message.claimed_at, message.claimed_by = SENDING, at, by
    message.tries += 1
    return True


@lru_cache(maxsize=1)
def _me(process: int) -> str:
    return f"{socket.gethostname()[:60]}:{process}"


def record(message: Message, answer: Answer, *, at: datetime) -> bool:
    """Keep what became of this claim of the message; False if another claim has followed it meanwhile."""
    told = {"server_said": answer.said[:300], **_after(message, answer, at)}
    # Unclear: the sweep may have thought that this process was dead.
    mine = (SENDING, UNCLEAR)
    taken = answer.outcome is Outcome.TAKEN
    if taken:
        told |= outbox.without_links(message, at)
    blanks = taken and bool(message.secrets) and has_texts(message)
    lifts = taken and message.kind in refusals.ALL_THE_SAME
    if not (blanks or lifts or answer.of_address):
        return moved(message, mine, **told)
    with transaction.atomic():
        if not moved(message, mine, **told):
            return False
        if blanks:
            blank_files(message)
        if lifts:
            refusals.lift(message, at=at)
        if answer.of_address:
            refusals.mark(message, answer.said, at=at)
        return True


def _after(message: Message, answer: Answer, at: datetime) -> dict[str, Any]:
    """The state that follows from an answer."""
    if answer.outcome is Outcome.TAKEN:
        return {"state": SENT, "sent_at": at, "next_try_at": None}
    if answer.outcome is Outcome.LOST:
        return {"state": UNCLEAR, **_lost(message.lost, at)}
    delays = settings.NOTIFICATION_DELAYS
    if answer.outcome is Outcome.NEVER or message.put_off >= len(delays):
        return {"state": FAILED, "next_try_at": None}
    delay = timedelta(seconds=delays[message.put_off])
    return {"state": _not_sent(message), "next_try_at": at + delay, "put_off": message.put_off + 1}


def _lost(lost_before: int, at: datetime) -> dict[str, Any]:
    """Once more after a while; when that has gone wrong too often, a person decides."""
    again = lost_before + 1 < settings.NOTIFICATION_MOST_LOST
    wait = timedelta(seconds=settings.NOTIFICATION_UNCLEAR_SECONDS)
    return {"lost": lost_before + 1, "next_try_at": at + wait if again else None}


def _not_sent(message: Message) -> str:
    """The state of what was not sent this time: an earlier try may have arrived."""
    return UNCLEAR if message.lost else WAITING


def _let_go(message: Message, said: str, *, at: datetime) -> None:
    """Undo a claim: the connection was lost before this message was tried."""
    moved(message, [SENDING], state=_not_sent(message), next_try_at=at, server_said=said[:300])


def sweep(moment: Moment) -> int:
    """Put right what was left behind, in whatever way; returns how many messages were found in flight.

    It may run twice and at once: each change holds only in the state that it was found in.
    """
    dead = Message.objects.filter(
        state=SENDING, claimed_at__lt=moment.at - timedelta(seconds=settings.NOTIFICATION_CLAIM_SECONDS)
    )
    found = 0
    for message in dead:
        told = _lost(message.lost, moment.at)
        if told["next_try_at"]:
            told["next_try_at"] = moment.at  # the time of its claim was waiting enough
        found += moved(message, [SENDING], state=UNCLEAR, server_said=ENDED, **told)
    _withdraw_asked(moment)
    _blank_old(moment)
    afterwards.follow_left(moment=moment)
    return found


def _withdraw_asked(moment: Moment) -> None:
    """What was in flight when its cause went, and did not arrive."""
    for message in Message.objects.filter(~Q(withdrawn_why=""), state__in=[*DUE_STATES, FAILED]):
        with transaction.atomic():
            outbox.end(message, why=message.withdrawn_why, at=moment.at)


def _blank_old(moment: Moment) -> None:
    """Refused, held back, or unclear for good: whatever waits for a person to decide."""
    last = moment.at - KEEP_LINKS
    long_ago = Q(claimed_at__lt=last) | Q(claimed_at=None, made_at__lt=last)
    old = Message.objects.filter(
        ~Q(secrets=""), long_ago, state__in=[FAILED, HELD, UNCLEAR], next_try_at=None
    )
    for message in old:
        with transaction.atomic():
            same = Message.objects.filter(
                pk=message.pk, state=message.state, tries=message.tries, next_try_at=None
            )
            if same.update(**outbox.without_links(message, moment.at)):
                blank_files(message)
