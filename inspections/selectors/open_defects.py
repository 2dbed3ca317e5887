"""All open defects a person may see: the most pressing band first, then by their last good day."""

from collections import Counter
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any

from django.db.models import Exists, OuterRef, Q, QuerySet

from inspections import words as own
from inspections.models import Defect, Job, JobItem
from inspections.selectors.urgent import urgencies
from inspections.urgency import Urgency
from portfolio import words
from portfolio.selectors.naming import RoomName, rooms_called

LIVE = JobItem.objects.filter(defect=OuterRef("pk"), ended_at=None)
STATE: dict[str, tuple[str, Any]] = {
    "nobody": ("With nobody", Q(completed=None) & ~Exists(LIVE)),
    "contractor": ("With a contractor", Q(completed=None) & Exists(LIVE)),
    "done": ("Said to be done", Q(completed__isnull=False)),
}
"""Where an open defect stands: its words, and the condition on Defect."""


@dataclass(frozen=True)
class When:
    words: str
    holds: Callable[[Urgency, date], bool]


def _within(days: int) -> When:
    return When(
        f"Within {days} days",
        lambda said, day: said.due is not None and day <= said.due <= day + timedelta(days=days),
    )


WHEN: dict[str, When] = {
    "late": When("Late", lambda said, day: said.days_late(day) > 0),
    "7": _within(7),
    "30": _within(30),
    "no-day": When("No last day", lambda said, day: said.due is None),
}


@dataclass(frozen=True)
class Ranked:
    """The ids in their order, with what that order rests on."""

    ids: list[int]
    urgency: dict[int, Urgency]
    total: int
    """Before they are narrowed by their day."""
    late: dict[str, int]
    """Of those, how many each of WHEN holds for."""


@dataclass(frozen=True)
class Row:
    defect: Defect
    urgency: Urgency
    days_late: int
    """0 when it is not late, or has no last day."""
    job: Job | None
    room: RoomName | None

    @property
    def band(self) -> str:
        return own.BAND[self.urgency.band]

    @property
    def state(self) -> str:
        if self.defect.completed is not None:
            return "done"
        return "nobody" if self.job is None else "contractor"

    @property
    def state_words(self) -> str:
        return STATE[self.state][0]

    @property
    def trade(self) -> str:
        return own.TRADE.get(trade_of(self.defect) or "", "")


def trade_of(defect: Defect) -> str | None:
    """Who mends it: as recorded, else who usually mends what its scheme speaks of."""
    return defect.trade or own.TRADE_OF.get(defect.scheme)


def of_trade(trade: str) -> Q:
    """The condition that a defect is of this trade."""
    schemes = [scheme for scheme, mends in own.TRADE_OF.items() if mends == trade]
    return Q(trade=trade) | (Q(trade=None) | Q(trade="")) & Q(scheme__in=schemes)


def ranked(defects: "QuerySet[Defect]", when: str, day: date) -> Ranked:
    """These defects, those that are open, in the order in which they press."""
    still_open = defects.filter(confirmed=None)
    found = urgencies(still_open)
    order = sorted(found, key=lambda pk: (found[pk].band, found[pk].due or date.max, pk))
    holds = Counter(name for said in found.values() for name, one in WHEN.items() if one.holds(said, day))
    ids = [pk for pk in order if not when or WHEN[when].holds(found[pk], day)]
    return Ranked(ids, found, len(found), {name: holds[name] for name in WHEN})


def rows_of(ids: Iterable[int], found: Ranked, day: date) -> list[Row]:
    """One page of them, in the same order, in three queries."""
    ids = list(ids)
    related = ("unit__building", "unit__landlord", "completed_by", "completed_for")
    defects = Defect.objects.select_related(*related).in_bulk(ids)
    live = JobItem.objects.filter(defect__in=ids, ended_at=None).select_related("job__contractor")
    jobs = {item.defect_id: item.job for item in live}
    called = rooms_called(one.unit_id for one in defects.values() if one.room_id)
    return [
        Row(
            defect=defects[pk],
            urgency=found.urgency[pk],
            days_late=found.urgency[pk].days_late(day),
            job=jobs.get(pk),
            room=called.get(defects[pk].room_id or 0),
        )
        for pk in ids
        if pk in defects
    ]


DOWNLOAD_HEADINGS = (
    "How soon", "Last day", "Only advised", "Days late", "Why", "What is wrong", "Class", "Scheme", "Found",
    "Made safe", "Said to be done", "State", "Trade", "Room", "Home", "Building", "Postcode", "Ref", "Landlord",
)  # fmt: skip


def download_rows(found: Ranked, day: date) -> Iterable[tuple[object, ...]]:
    """Every row as the cells of a download, under DOWNLOAD_HEADINGS."""
    for start in range(0, len(found.ids), 500):
        for row in rows_of(found.ids[start : start + 500], found, day):
            d, unit = row.defect, row.defect.unit
            yield (
                row.band, row.urgency.due, "yes" if row.urgency.advised else None, row.days_late,
                row.urgency.why, d.title, d.code, words.SCHEME[d.scheme],
                d.found, d.made_safe, d.completed, row.state_words, row.trade,
                row.room.full if row.room else None, unit.label, unit.building.name,
                unit.building.postcode, unit.ref, unit.landlord.name if unit.landlord else None,
            )  # fmt: skip
