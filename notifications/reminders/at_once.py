"""What cannot wait for a digest: dangers, at once and then every day until they are made safe, and marks that ended.

What was told at once on a day, here or when it was recorded, is not told again that day. After an outage one message
says what is still true. Nobody can switch dangers off, and quiet days do not matter to them.
"""

import logging
from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from datetime import date
from itertools import islice
from typing import Protocol, TypeVar

from django.db import IntegrityError, transaction
from django.db.models import Q

from notifications import outbox
from notifications.models import Message, Said
from notifications.reminders import dangers, marks
from notifications.reminders.at_once_words import DANGERS, MARKS, dangers_draft, part_of, withdrawn_draft
from notifications.reminders.dangers import Danger
from notifications.reminders.readers import Reader, addresses_of, readers_of
from notifications.words import FAILED, WAITING, WITHDRAWN
from portfolio.clock import LONDON, Moment, moment_of

AT_ONCE, ONCE = "at once", "once"
"""Milestones; those of every later day of a danger are the day itself."""
MOST_ASKED = 5000
"""Causes in one query."""
SHOWN = 20
"""Dangers told in full in one message; the rest is counted."""
SHOWN_MARKS = 50
TOLD = ("agent", "landlord")
"""Roles that are told of dangers, and of marks that ended."""


class InHome(Protocol):
    """What is in somebody's home."""

    @property
    def landlord_id(self) -> int | None: ...

    @property
    def cause(self) -> str: ...


T = TypeVar("T", bound=InHome)
Pair = tuple[str, str]
"""The part of a reader, and a cause."""
Owed = tuple[Danger, str]
"""A danger, and the milestone as which it is to be said."""
log = logging.getLogger(__name__)


def say(agency_id: int, moment: Moment) -> int:
    """Tell the people of an agency what cannot wait; returns how many messages that took.

    It may run twice and at once: a reader's message and the note of what it said are one transaction, and whoever
    comes second undoes theirs.
    """
    readers = readers_of(agency_id)
    return _say_dangers(agency_id, readers, moment) + _say_withdrawn(agency_id, readers, moment)


def dangers_gone(message: Message) -> str:
    """Why a message of dangers is no longer to be sent: none of them is open any more."""
    causes = _causes(message)
    gone = causes and not dangers.still_open(causes)
    return (
        "Every danger it speaks of was made safe or confirmed as put right before it was sent."
        if gone
        else ""
    )


def withdrawn_gone(message: Message) -> str:
    """Why a message of marks that ended is no longer to be sent: each of them was given again."""
    causes = _causes(message)
    gone = causes and not marks.not_again(causes)
    return "Every mark it speaks of was given again before it was sent." if gone else ""


def _causes(message: Message) -> list[str]:
    return list(Said.objects.filter(message=message).values_list("cause", flat=True))


# Dangers


def _say_dangers(agency_id: int, users: Iterable[Reader], moment: Moment) -> int:
    found = dangers.open_dangers(agency_id)
    if not found:
        return 0
    theirs = list(_theirs([*users, *addresses_of(agency_id)], found))
    ever, today = _told([reader for reader, _ in theirs], found, moment.day)
    before = ever - today  # made once: for each danger anew it takes minutes
    all_owed = []
    for reader, mine in theirs:
        is_time = moment.at.astimezone(LONDON).hour >= reader.telling.hour
        fresh = [(one, AT_ONCE) for one in mine if (reader.part, one.cause) not in ever]
        again = [(one, str(moment.day)) for one in mine if is_time and (reader.part, one.cause) in before]
        if fresh or again:
            all_owed.append((reader, [*fresh, *again]))
    return _write_dangers(agency_id, all_owed, moment) if all_owed else 0


def _told(readers: Iterable[Reader], found: Sequence[Danger], day: date) -> tuple[set[Pair], set[Pair]]:
    """Who was told of which of these dangers at any time, and who on that day: here, or when it was recorded."""
    ever, today, parts = set(), set(), [one.part for one in readers]
    for some in _chunks(found):
        causes = [one.cause for one in some]
        said = Said.objects.filter(reader__in=parts, cause__in=causes, milestone__in=[AT_ONCE, str(day)])
        for reader, cause, on in said.values_list("reader", "cause", "on"):
            ever.add((reader, cause))
            if on == day:
                today.add((reader, cause))
        recorded = Message.objects.filter(
            kind="danger", unit__in={one.unit_id for one in some if one.is_defect}
        )
        for key, made_at in recorded.values_list("key", "made_at"):
            kind, defect, reader = key.split(":", 2)
            ever.add((reader, f"{kind}:{defect}"))
            if moment_of(made_at).day == day:
                today.add((reader, f"{kind}:{defect}"))
    return ever, today


def _write_dangers(agency_id: int, all_owed: Sequence[tuple[Reader, Sequence[Owed]]], moment: Moment) -> int:
    full = dangers.in_words({one for _, owed in all_owed for one, _ in owed[:SHOWN]})
    earlier = _unsent(moment)
    written = 0
    for reader, owed in all_owed:
        with _apart(reader), transaction.atomic():
            draft = dangers_draft(
                reader,
                agency_id,
                [full[one.cause] for one, _ in owed[:SHOWN]],
                count=len(owed),
                fresh=sum(milestone == AT_ONCE for _, milestone in owed),
                moment=moment,
            )
            written += _write(reader, draft, [(one.cause, milestone) for one, milestone in owed], moment)
            if owed[-1][1] != AT_ONCE:  # it says all that is open: what was left unsaid before is in it
                for message in earlier[reader.part]:
                    why = f"The message of {moment.day:%-d %B %Y} says what is still true of it."
                    outbox.end(message, why=why, at=moment.at)
    return written


def _unsent(moment: Moment) -> Mapping[str, list[Message]]:
    """Messages of dangers from earlier days that still wait for the mail server, by the part of their reader."""
    found = defaultdict(list)
    for message in Message.objects.filter(kind=DANGERS, state=WAITING, next_try_at__isnull=False):
        if moment_of(message.made_at).day < moment.day:
            found[part_of(message)].append(message)
    return found


# Marks that ended


def _say_withdrawn(agency_id: int, users: Iterable[Reader], moment: Moment) -> int:
    ended = marks.withdrawn(agency_id, moment)
    if not ended:
        return 0
    wanted = [one for one in users if MARKS not in one.telling.off]
    refused = outbox.refused(agency_id, [one.email for one in wanted])
    theirs = list(_theirs([one for one in wanted if one.email not in refused], ended))
    said = set()
    for some in _chunks(ended):
        parts, causes = [reader.part for reader, _ in theirs], [one.cause for one in some]
        rows = Said.objects.filter(reader__in=parts, cause__in=causes, milestone=ONCE)
        said |= set(rows.exclude(_unheard(moment.day)).values_list("reader", "cause"))
    owed = []
    for reader, mine in theirs:
        if fresh := [one for one in mine if (reader.part, one.cause) not in said]:
            owed.append((reader, fresh))
    full = marks.ended({one for _, fresh in owed for one in fresh[:SHOWN_MARKS]})
    written = 0
    for reader, fresh in owed:
        with _apart(reader), transaction.atomic():
            told = marks.in_words([full[one.cause] for one in fresh[:SHOWN_MARKS]])
            draft = withdrawn_draft(reader, agency_id, told, count=len(fresh), moment=moment)
            _take_the_place(reader, fresh, moment)
            written += _write(reader, draft, [(one.cause, ONCE) for one in fresh], moment)
    return written


def _unheard(day: date) -> Q:
    """The condition on Said that it went out in no message; what was refused is tried again on a later day only."""
    return Q(message__state=WITHDRAWN) | Q(message__state=FAILED, on__lt=day)


def _take_the_place(reader: Reader, fresh: Sequence[marks.Withdrawn], moment: Moment) -> None:
    """What was to say these marks and did not is no longer to be sent: the new message says them."""
    for some in _chunks(fresh):
        causes = [one.cause for one in some]
        old = Said.objects.filter(reader=reader.part, cause__in=causes, milestone=ONCE)
        unheard = old.filter(_unheard(moment.day))
        for message in Message.objects.filter(said__in=unheard, state=FAILED).distinct():
            why = f"The message of {moment.day:%-d %B %Y} says what is still true of it."
            outbox.end(message, why=why, at=moment.at)
        unheard.delete()


# Both


def _theirs(readers: Iterable[Reader], found: Sequence[T]) -> Iterator[tuple[Reader, Sequence[T]]]:
    """Each reader that is told, with what is in the homes they look after or own; nobody with nothing."""
    by_landlord = defaultdict(list)
    for one in found:
        by_landlord[one.landlord_id].append(one)
    for reader in readers:
        mine = found if reader.role == "agent" else by_landlord[reader.landlord_id]
        if mine and reader.role in TOLD:
            yield reader, mine


def _write(reader: Reader, draft: outbox.Draft, rows: Iterable[tuple[str, str]], moment: Moment) -> int:
    """The message and what it says: causes with their milestones.

    Raises IntegrityError when one of them is said already.
    """
    message = outbox.put(draft, at=moment.at)
    if message is None:
        return 0
    said = [
        Said(
            agency_id=draft.agency_id,
            reader=reader.part,
            cause=cause,
            milestone=milestone,
            on=moment.day,
            message=message,
        )
        for cause, milestone in sorted(rows)  # so that two at once cannot wait for each other
    ]
    Said.objects.bulk_create(said, batch_size=500)
    return 1


@contextmanager
def _apart(reader: Reader) -> Iterator[None]:
    """One reader's message that cannot be made must not silence the others."""
    try:
        yield
    except IntegrityError:
        log.info("Reader %s is told by another process.", reader.part)
    except Exception:
        log.exception("What cannot wait could not be told to reader %s.", reader.part)


def _chunks(found: Iterable[T]) -> Iterator[list[T]]:
    left = iter(found)
    while some := list(islice(left, MOST_ASKED)):
        yield some
