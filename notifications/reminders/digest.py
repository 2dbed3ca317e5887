"""One message a day to each person with what is due and was not said to them yet: never twice, and nothing left out.

It is worked out from what is on record and from what was said, at the first run after a person's hour. A day without
a run, a quiet day or a digest that did not leave is made good by the next one, which says only what is still true.
"""

import logging
from collections.abc import Iterable, Sequence
from datetime import date
from types import ModuleType

from django.db import transaction
from django.db.models import Q

from notifications import outbox
from notifications.models import Message, RefusedAddress, Said, Telling
from notifications.reminders import renewals, works
from notifications.reminders.digest_words import Section, draft_of, section
from notifications.reminders.lead_times import leads_of
from notifications.reminders.plan import Concern, reached_on
from notifications.reminders.readers import Reader, readers_of
from notifications.telling import locked
from notifications.words import ABOUT, DUTY, FAILED, HELD, REACHES, WAITING, WITHDRAWN
from portfolio.clock import LONDON, Moment

SOURCES: dict[str, ModuleType] = {
    **dict.fromkeys((renewals.RENEWAL, DUTY), renewals),
    **dict.fromkeys((works.UNANSWERED, works.CONFIRM, works.NEEDED), works),
}
"""Who finds the concerns of each kind, and says them in words."""
FINDERS = (renewals, works)
KIND = "digest"
CAUSES_AT_ONCE = 500
Key = tuple[str, str]
"""A cause and a milestone of it."""
log = logging.getLogger(__name__)


def say(agency_id: int, moment: Moment) -> int:
    """Write the digests of an agency whose hour has come; returns how many. What is due is worked out once for all.

    It may run twice and at once: each person's digest is one transaction under the lock of their Telling.
    """
    waiting = [one for one in readers_of(agency_id) if is_time(one.telling, moment)]
    refused = _refused(agency_id) if waiting else set()
    waiting = [one for one in waiting if one.email.lower() not in refused]
    if not waiting:
        return 0
    concerns, written = found(agency_id, moment.day), 0
    for reader in waiting:
        try:
            written += _say_to(reader, agency_id, concerns, moment)
        except Exception:  # one person's digest that cannot be made must not silence the others
            log.exception("The digest of user %s cannot be made.", reader.part)
    return written


def is_time(telling: Telling, moment: Moment) -> bool:
    """Is a digest wanted now, that was not worked out yet on this day in London?"""
    if not telling.digest or moment.day.weekday() in telling.quiet_days:
        return False
    if telling.worked_out_on is not None and telling.worked_out_on >= moment.day:
        return False
    return moment.at.astimezone(LONDON).hour >= telling.hour


def found(agency_id: int, day: date) -> list[Concern]:
    """What has reached a milestone in an agency, the most pressing first."""
    leads = leads_of(agency_id)
    concerns = [one for source in FINDERS for one in source.found(agency_id, day, leads)]
    return sorted(concerns, key=lambda one: (one.due is None, one.due or day))


def concerns_of(reader: Reader, telling: Telling, concerns: Iterable[Concern]) -> list[Concern]:
    """Those that reach this person, in the order given."""
    reached = set(REACHES[reader.role]) - set(telling.off)
    return [
        one
        for one in concerns
        if one.kind in reached and (reader.role != "landlord" or one.landlord_id == reader.landlord_id)
    ]


def why_gone(message: Message) -> str:
    """Why a digest is no longer to be sent: nothing it speaks of is still so."""
    causes = Said.objects.filter(message=message).order_by("pk").values_list("cause", flat=True)
    start = 0
    while page := list(causes[start : start + CAUSES_AT_ONCE]):
        if any(source.still_true(page) for source in FINDERS):
            return ""
        start += CAUSES_AT_ONCE
    return "Everything it speaks of was dealt with before it was sent." if start else ""


def _refused(agency_id: int) -> set[str]:
    """Addresses that are written to no more; what is due is said once that has ended."""
    live = RefusedAddress.objects.filter(agency=agency_id, ended_at=None)
    return {email.lower() for email in live.values_list("email", flat=True)}


@transaction.atomic
def _say_to(reader: Reader, agency_id: int, concerns: Sequence[Concern], moment: Moment) -> int:
    assert reader.user_id is not None
    telling = locked(reader.user_id)
    if not is_time(telling, moment):
        return 0  # somebody was quicker, or it was changed meanwhile
    mine = concerns_of(reader, telling, concerns)
    said = _said(reader, mine)
    written = 0
    if any(_key(one) not in said for one in mine):
        again = _overtaken(reader, moment)
        new = [one for one in mine if _key(one) not in said or _key(one) in again]
        written = _write(reader, agency_id, new, mine, moment)
    telling.worked_out_on = moment.day
    telling.save(update_fields=["worked_out_on"])
    return written


def _key(one: Concern) -> Key:
    return one.cause, one.milestone


def _said(reader: Reader, concerns: Sequence[Concern]) -> set[Key]:
    """What this person was told. What went out in no message, because it was refused or withdrawn, was not said."""
    counted = [day for one in concerns if (day := reached_on(one)) is not None]
    lasting = {one.milestone for one in concerns if reached_on(one) is None}
    # Of what is counted down, only what was said since its milestone was reached: the rest is years of old rows.
    within = Q(milestone__in=lasting) | Q(on__gte=min(counted, default=date.max))
    rows = Said.objects.filter(within, reader=reader.part).exclude(message__state__in=(WITHDRAWN, FAILED))
    return set(rows.values_list("cause", "milestone"))


def _overtaken(reader: Reader, moment: Moment) -> set[Key]:
    """Withdraw this person's digests that have not left, and return what they said: the new one says it."""
    older = Message.objects.filter(to_user=reader.user_id, kind=KIND, state__in=(WAITING, HELD, FAILED))
    why = f"The digest of {moment.day:%-d %B %Y} says what is still true of it."
    ended = [one.pk for one in older if outbox.end(one, why=why, at=moment.at)]
    return set(Said.objects.filter(message__in=ended).values_list("cause", "milestone"))


def _write(
    reader: Reader, agency_id: int, new: Sequence[Concern], mine: Sequence[Concern], moment: Moment
) -> int:
    """The message and what it says, together."""
    sections = _sections(new, moment.day)
    keys = {_key(one) for one in new}
    rest = [one for one in mine if _key(one) not in keys]
    draft = draft_of(reader, agency_id, sections, rest, day=moment.day)
    message = outbox.put(draft, at=moment.at)
    if message is None:
        return 0
    Said.objects.bulk_create(
        [
            Said(
                agency_id=agency_id,
                reader=reader.part,
                cause=one.cause,
                milestone=one.milestone,
                on=moment.day,
                message=message,
            )
            for one in new
        ],
        batch_size=CAUSES_AT_ONCE,
        # What stands there already went out in no message.
        update_conflicts=True,
        unique_fields=["reader", "cause", "milestone"],
        update_fields=["on", "message"],
    )
    return 1


def _sections(new: Sequence[Concern], day: date) -> list[Section]:
    found = []
    for kind in ABOUT:
        here = [one for one in new if one.kind == kind]
        if here:
            found.append(section(kind, here, SOURCES[kind].lines, day))
    return found
