"""One home's facts, sorted and indexed once, so that no rule depends on the order of records."""

from collections.abc import Collection
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

    __slots__ = ("_kinds", "alarms", "appliances", "building", "defects", "rooms", "unit")

    def __init__(self, building: Building, unit: Unit) -> None:
        self.building = building
        self.unit = unit
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

    @property
    def people(self) -> Occupancy:
        """Who lives there. Numbers that cannot both be right count as not recorded.

        There are no more households than people. And a room that shares has another household beside it, for the
        people of a room let singly are those of the whole house.
        """
        people = self.unit.occupancy
        if people.households is None or people.persons is None:
            return people
        alone = self.unit.dwelling == "room" and people.shares_amenities and people.households < 2
        if alone or people.households > people.persons:
            return replace(people, persons=None, households=None)
        return people

    @property
    def has_papers(self) -> bool:
        """Is the list of certificates on record at all?"""
        return self.unit.certificates is not None

    def papers(self, kind: str, day_field: str, on: AsOn) -> Papers:
        """Papers of a kind whose own day has come and that have not been withdrawn by then."""
        if kind not in self._kinds:
            return NO_PAPERS
        counted: list[tuple[date, Certificate]] = []
        undated: list[Certificate] = []
        for paper in self._kinds[kind]:
            if paper.withdrawn is not None and on.reached(paper.withdrawn):
                continue
            day: date | None = getattr(paper, day_field)
            if day is None:
                undated.append(paper)
            elif on.reached(day):
                counted.append((day, paper))
        if len(counted) > 1:
            counted.sort(key=itemgetter(0))
        return Papers(tuple(counted), tuple(undated))

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
        if not self.unit.tenancies:
            return []
        current = [t for t in self.unit.tenancies if t.ends is None or not on.passed(t.ends)]
        return sorted(current, key=lambda t: (t.starts or date.min, t.ref))

    def running(self, on: AsOn) -> list[Tenancy]:
        """Tenancies under way; one whose start is not recorded is taken to be."""
        return [t for t in self.tenancies(on) if t.starts is None or on.reached(t.starts)]

    def acts(self, what: str, party: str | None, of: Collection[str | None], on: AsOn) -> list[date]:
        """Days by which something was done, oldest first; an act with no day recorded proves nothing."""
        if not self.unit.events:
            return []
        days = (act.on for act in self.unit.events if _is_act(act, what, party, of))
        return sorted(day for day in days if day is not None and on.reached(day))


def _sorted(records: tuple[R, ...] | None) -> tuple[R, ...] | None:
    return records if not records else tuple(sorted(records, key=_REF))


def is_open(defect: Defect, on: AsOn) -> bool:
    """Work done or made safe does not close a defect; only confirmation by a second competent person does."""
    if defect.found is not None and not on.reached(defect.found):
        return False
    return defect.confirmed is None or not on.reached(defect.confirmed)


def _is_act(act: Act, what: str, party: str | None, of: Collection[str | None]) -> bool:
    return act.what == what and act.party == party and act.of in of
