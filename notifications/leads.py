"""The lead times that an agency sets in place of those that hold for everybody."""

import re
from collections.abc import Mapping, Sequence
from typing import Any

from django.core.exceptions import ValidationError
from django.db import transaction

from notifications.models import LeadTime
from notifications.reminders.lead_times import ALARMS, OTHER, defaults, leads_of
from notifications.services import NotPossible
from notifications.words import DUTY
from portfolio import access, words
from portfolio.clock import Moment
from portfolio.models import Agency
from portfolio.selectors.steps import PAPER_FOR
from portfolio.services.events import Happening, Verb, record

MOST_DAYS = 400
"""Before its last good day: earlier than that a paper was hardly made."""
MOST_TIMES = 12
NAMES = {
    "hmo_licence": "Licences, HMO and selective",
    "fire_door_check_common": "Fire door checks",
    ALARMS: "Alarms: their tests and last days",
    OTHER: "Anything else that runs out",
    DUTY: "Duties, such as a copy for the tenant",
}
"""Where the name of the kind of paper says too little or too much."""


def kinds() -> dict[str, str]:
    """What has lead times of its own, in words: each kind of paper that some nation's law asks for, and the rest."""
    asked = set(PAPER_FOR.values())
    papers = {kind: name for kind, name in words.CERTIFICATE.items() if kind in asked and kind != OTHER}
    return papers | NAMES


def parsed(text: str) -> tuple[int, ...]:
    """Days as they are typed, "90, 60, 30", the most first and each once. Raises ValidationError."""
    parts = [part for part in re.split(r"[,;\s]+", text.strip()) if part]
    for part in parts:
        if not (part.isascii() and part.isdigit()):
            raise ValidationError(
                f"“{part[:20]}” is no number of days. Write whole numbers with commas between, such as 90, 30, 7, 0."
            )
        if len(part) > 4 or int(part) > MOST_DAYS:
            raise ValidationError(f"{part[:20]} days is too early: {MOST_DAYS} is the most.")
    days = tuple(sorted({int(part) for part in parts}, reverse=True))
    if not days:
        raise ValidationError("Write at least one number of days, or leave the box empty for the usual ones.")
    if len(days) > MOST_TIMES:
        raise ValidationError(f"These are {len(days)} reminders of one thing: {MOST_TIMES} are the most.")
    return days


def as_text(days: Sequence[int]) -> str:
    return ", ".join(map(str, days))


def own_of(agency_id: int) -> dict[str, tuple[int, ...]]:
    """What the agency set itself, by kind."""
    held = LeadTime.objects.filter(agency=agency_id).values_list("kind", "days")
    return {kind: tuple(days) for kind, days in held}


@transaction.atomic
def lead_times_set(changes: Mapping[str, Sequence[int] | None], *, actor: Any, moment: Moment) -> list[str]:
    """Set the days of these kinds, or with None go back to the usual ones; other kinds stay. Returns what changed.

    Raises NotPossible, and ValidationError for a kind or days that cannot be.
    """
    if not access.may(actor, "set_lead_times"):
        raise NotPossible("Only a letting agent sets lead times.")
    agency_id = actor.agency_id
    for kind, days in changes.items():
        if kind not in kinds():
            raise ValidationError(f"Nothing has lead times of the kind “{kind}”.")
        if days is not None:
            parsed(as_text(days))
    Agency.objects.select_for_update().get(pk=agency_id)  # two agents at once: one after the other
    was = leads_of(agency_id)
    for kind, days in changes.items():
        held = LeadTime.objects.filter(agency_id=agency_id, kind=kind)
        if days is None or tuple(days) == defaults()[kind]:
            held.delete()
        else:
            LeadTime.objects.update_or_create(
                agency_id=agency_id, kind=kind, defaults={"days": list(parsed(as_text(days)))}
            )
    now = leads_of(agency_id)
    told = [_happening(kind, was[kind], now[kind], agency_id) for kind in kinds() if was[kind] != now[kind]]
    record(told, agency_id=agency_id, actor=actor, moment=moment)
    return [one.says for one in told]


def _happening(kind: str, was: Sequence[int], now: Sequence[int], agency_id: int) -> Happening:
    usual = " (the usual ones)" if tuple(now) == defaults()[kind] else ""
    says = f"Lead times of {kinds()[kind]}: {as_text(now)} days before{usual}, no longer {as_text(was)}."
    data = {"kind": kind, "was": list(was), "now": list(now)}
    return Happening(Verb.LEAD_TIMES_CHANGED, f"agency:{agency_id}", says, data=data)
