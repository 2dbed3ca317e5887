"""Marks that ended by themselves, and whose home was not marked again since: whoever relies on them has to know."""

from collections.abc import Collection, Iterable
from dataclasses import dataclass
from datetime import timedelta
from typing import Any

from django.db.models import Exists, OuterRef, QuerySet

from inspections.services.tell import address
from portfolio import words
from portfolio.clock import Moment
from portfolio.models import Clearance, Unit

CAUSE = "withdrawn"
TOLD_FOR = timedelta(days=14)
"""An older withdrawal is no news; the board shows it."""


@dataclass(frozen=True, slots=True)
class Withdrawn:
    """One mark that ended by itself."""

    cause: str
    unit_id: int
    landlord_id: int | None

    @property
    def about(self) -> int:
        """The id of the clearance."""
        return int(self.cause.partition(":")[2])


@dataclass(frozen=True, slots=True)
class Told:
    """What ended in one home for one reason, in words."""

    home: str
    doors: str
    why: str
    url: str
    marks: int
    """How many ended, each for another purpose."""


def withdrawn(agency_id: int, moment: Moment) -> list[Withdrawn]:
    """Marks of an agency that ended by themselves of late and stand no more, in the order they ended. One query."""
    lately = _not_again(
        Clearance.objects.filter(
            unit__agency=agency_id, withdrawn_by=None, withdrawn_at__gt=moment.at - TOLD_FOR
        )
    )
    rows = lately.order_by("withdrawn_at", "pk").values_list("pk", "unit", "unit__landlord")
    return [Withdrawn(f"{CAUSE}:{pk}", unit, landlord) for pk, unit, landlord in rows]


def not_again(causes: Iterable[str]) -> set[str]:
    """Those of these causes whose home was not marked again since. One query."""
    ids = [Withdrawn(cause, 0, None).about for cause in causes]
    return {
        f"{CAUSE}:{pk}"
        for pk in _not_again(Clearance.objects.filter(pk__in=ids)).values_list("pk", flat=True)
    }


def ended(marks: Collection[Withdrawn]) -> dict[str, Clearance]:
    """These marks with their homes, by cause. One query."""
    found = Clearance.objects.select_related("unit__building").in_bulk([one.about for one in marks])
    return {one.cause: found[one.about] for one in marks}


def in_words(marks: Iterable[Clearance]) -> list[Told]:
    """These marks in words, in their order; those of one home that ended for one reason together."""
    groups: dict[tuple[int, str], list[Clearance]] = {}
    for one in marks:
        groups.setdefault((one.unit_id, one.withdrawn_why), []).append(one)
    return [_told(group[0].unit, why, group) for (_, why), group in groups.items()]


def _told(unit: Unit, why: str, marks: list[Clearance]) -> Told:
    purposes = {one.purpose for one in marks}
    doors = " and ".join(says.lower() for purpose, says in words.PURPOSE.items() if purpose in purposes)
    says = words.plainly(why)
    return Told(str(unit), doors, says[:1].upper() + says[1:], address("home", unit.pk), len(marks))


def _not_again(marks: "QuerySet[Clearance]") -> "QuerySet[Any]":
    later = Clearance.objects.filter(
        unit=OuterRef("unit"), purpose=OuterRef("purpose"), pk__gt=OuterRef("pk")
    )
    return marks.filter(~Exists(later), withdrawn_at__isnull=False)
