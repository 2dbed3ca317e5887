"""One home's facts, sorted and indexed once, so that no rule depends on the order of records."""

from collections.abc import Collection, Sequence
from dataclasses import replace
from datetime import date
from operator import attrgetter, itemgetter
from typing import NamedTuple, TypeVar

from .dates import AsOn
from .model import Act, Alarm, Appliance, Building, Certificate, Defect, Occupancy, Room, Tenancy, Unit

R = TypeVar("R", Alarm, Appliance, Defect, Room)
_REF = attrgetter("ref")


class Papers(NamedTuple):
    """Certificates of one kind that count on a day, oldest first, and those lacking the day that decides."""

    counted: tuple[tuple[date, Certificate], ...]
    undated: tuple[Certificate, ...]

    def latest(self) -> tuple[Certificate, ...]:
        """The newest; several when they share a day, so that the caller can take the worst of them."""
        if not self.counted:
            return ()
        newest, paper = self.counted[-1]
        if len(self.counted) == 1 or self.counted[-2][0] < newest:
            return (paper,)
        return tuple(paper for day, paper in self.counted if day == newest)


NO_PAPERS = Papers((), ())


class Home:
    """A unit in its building, as the rules see it."""

    __slots__ = (
        "_acts", "_kinds", "_shelves", "_tenancies", "alarms", "appliances", "building", "defects", "people",
        "rooms", "unit",
    )  # fmt: skip

    def __init__(self, building: Building, unit: Unit) -> None:
        self.building = building
        self.unit = unit
        self.people = _people(unit)
        self.rooms = _sorted(unit.rooms)
        self.alarms = _sorted(unit.alarms)
        self.appliances = _sorted(unit.appliances)
        self.defects = _sorted(unit.defects)
        self._kinds: dict[str, list[Certificate]] = {}
        for paper in unit.certificates or ():
            self._kinds.setdefault(paper.kind, []).append(paper)
        for papers in self._kinds.values():
            if len(papers) > 1:
                papers.sort(key=_REF)
        self._shelves: dict[tuple[str, str], Papers] = {}
        self._tenancies = sorted(unit.tenancies or (), key=lambda one: (one.starts or date.min, one.ref))
        self._acts: dict[str, list[Act]] = {}
        for act in unit.events or ():
            self._acts.setdefault(act.what, []).append(act)

    @property
    def has_papers(self) -> bool:
        """Is the list of certificates on record at all?"""
        return self.unit.certificates is not None

    def papers(self, kind: str, day_field: str, on: AsOn) -> Papers:
        """Papers of a kind whose own day has come and that have not been withdrawn by then."""
        if kind not in self._kinds:
            return NO_PAPERS
        shelf = self._shelves.get((kind, day_field)) or self._shelve(kind, day_field)
        counted = [row for row in shelf.counted if _stands(row[1], on) and on.reached(row[0])]
        undated = [paper for paper in shelf.undated if _stands(paper, on)]
        if len(counted) == len(shelf.counted) and len(undated) == len(shelf.undated):
            return shelf
        return Papers(tuple(counted), tuple(undated))

    def _shelve(self, kind: str, day_field: str) -> Papers:
        """Papers of a kind on whatever day, kept for the next rule that asks."""
        counted: list[tuple[date, Certificate]] = []
        undated: list[Certificate] = []
        for paper in self._kinds[kind]:
            day: date | None = getattr(paper, day_field)
            if day is None:
                undated.append(paper)
            else:
                counted.append((day, paper))
        counted.sort(key=itemgetter(0))
        shelf = self._shelves[kind, day_field] = Papers(tuple(counted), tuple(undated))
        return shelf

    def tied(self, certificate: str, scheme: str, codes: Collection[str]) -> tuple[Defect, ...]:
        """Defects of a scheme and of these codes that belong to a certificate."""
        if not self.defects:
            return ()
        mine = (d for d in self.defects if d.certificate == certificate)
        return tuple(d for d in mine if d.scheme == scheme and d.code in codes)

    def open_defects(self, scheme: str, codes: Collection[str], on: AsOn) -> tuple[Defect, ...]:
        """Those found by the day (or on a day nobody recorded) and not confirmed by it."""
        if not self.defects:
            return ()
        return tuple(d for d in self.defects if d.scheme == scheme and d.code in codes and is_open(d, on))

    def tenancies(self, on: AsOn) -> list[Tenancy]:
        """Running and coming tenancies, by start; one whose start is not recorded comes first."""
        return [t for t in self._tenancies if t.ends is None or not on.passed(t.ends)]

    def running(self, on: AsOn) -> list[Tenancy]:
        """Tenancies under way; one whose start is not recorded is taken to be."""
        return [t for t in self.tenancies(on) if t.starts is None or on.reached(t.starts)]

    def acts(self, what: str, party: str | None, of: Collection[str | None], on: AsOn) -> list[date]:
        """Days by which something was done, oldest first; an act with no day recorded proves nothing."""
        days = [one.on for one in self._acts.get(what, ()) if one.party == party and one.of in of]
        return sorted(day for day in days if day is not None and on.reached(day))

    def acts_of(self, what: str) -> Sequence[Act]:
        """Everything on record that was done of one sort, on whatever day."""
        return self._acts.get(what, ())


def _sorted(records: tuple[R, ...] | None) -> tuple[R, ...] | None:
    return records if not records else tuple(sorted(records, key=_REF))


def _people(unit: Unit) -> Occupancy:
    """Who lives there. Numbers that cannot both be right count as not recorded.

    There are no more households than people. And a room that shares has another household beside it, for the
    people of a room let singly are those of the whole house.
    """
    people = unit.occupancy
    if people.households is None or people.persons is None:
        return people
    alone = unit.dwelling == "room" and people.shares_amenities and people.households < 2
    if alone or people.households > people.persons:
        return replace(people, persons=None, households=None)
    return people


def _stands(paper: Certificate, on: AsOn) -> bool:
    return paper.withdrawn is None or not on.reached(paper.withdrawn)


def is_open(defect: Defect, on: AsOn) -> bool:
    """Work done or made safe does not close a defect; only confirmation by a second competent person does."""
    if defect.found is not None and not on.reached(defect.found):
        return False
    return defect.confirmed is None or not on.reached(defect.confirmed)
