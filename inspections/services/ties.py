"""For which contractors one of our people works or worked, and until when: as it was, not only as it is."""

from collections.abc import Iterable
from datetime import date, datetime
from typing import Any

from django.db.models import Q

from inspections.models import Contractor
from portfolio.clock import moment_of
from portfolio.models import Event
from portfolio.services.events import Verb

Said = tuple[int, datetime, bool]
"""Id of a contractor, when something was recorded of it, and whether it ties the person."""


def ties_of(user: Any) -> dict[int, date | None]:
    """The last day of each tie by the id of the contractor, None while it lasts. Three queries."""
    ended: dict[int, date | None] = {}
    for said in (_by_name(user), _by_address(user)):
        for firm, day in _ends(said).items():
            ended[firm] = max(day, ended.get(firm) or day)
    now = Contractor.objects.filter(Q(people=user) | Q(email__iexact=user.email), agency=user.agency_id)
    return ended | dict.fromkeys(now.values_list("pk", flat=True))


def _ends(said: Iterable[Said]) -> dict[int, date]:
    """The last day on which each contractor that tied the person ceased to; `said` is in order."""
    tied, ends = set(), {}
    for firm, at, ties in said:
        if ties:
            tied.add(firm)
        elif firm in tied:
            tied.remove(firm)
            ends[firm] = moment_of(at).day
    return ends


def _by_name(user: Any) -> Iterable[Said]:
    """Who works for a contractor, or is paid by it, stands in the record of each change."""
    lines = Event.objects.filter(
        agency=user.agency_id, verb=Verb.CONTRACTOR_CHANGED.value, data__has_key="people"
    )
    for subject, at, data in lines.order_by("seq").values_list("subject", "at", "data"):
        yield int(subject.partition(":")[2]), at, user.pk in data["people"]


def _by_address(user: Any) -> Iterable[Said]:
    states = Contractor.history.filter(agency=user.agency_id).order_by("history_date", "history_id")
    for firm, at, email in states.values_list("id", "history_date", "email"):
        yield firm, at, email.casefold() == user.email.casefold()
