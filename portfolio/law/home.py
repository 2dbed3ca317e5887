"""One home's facts, sorted and indexed once so that every rule can ask quickly and none depends on record order."""

from collections.abc import Collection
from datetime import date
from operator import attrgetter
from typing import NamedTuple

from .dates import AsOn
from .model import Act, Building, Certificate, Defect, Tenancy, Unit

_REF = attrgetter("ref")


class Papers(NamedTuple):
    """Certificates of one kind that count on a day, oldest first, and those that lack the day that decides it."""

    counted: tuple[tuple[date, Certificate], ...]
    undated: tuple[Certificate, ...]

    def latest(self) -> tuple[Certificate, ...]:
        """The newest; several when they share a day, so that the caller can take the worst of them."""
        if not self.counted:
            return ()
        newest = self.counted[-1][0]
        return tuple(paper for day, paper in self.counted if day == newest)


class Home:
    """A unit in its building, as the rules see it."""

    __slots__ = ("_kinds", "building", "defects", "unit")

    def __init__(self, building: Building, unit: Unit) -> None:
        self.building = building
        self.unit = unit
        self.defects = None if unit.defects is None else tuple(sorted(unit.defects, key=_REF))
        self._kinds: dict[str, list[Certificate]] = {}
        for paper in unit.certificates or ():
            self._kinds.setdefault(paper.kind, []).append(paper)
        for papers in self._kinds.values():
            papers.sort(key=_REF)

    @property
    def has_papers(self) -> bool:
        """Is the list of certificates on record at all?"""
        return self.unit.certificates is not None

    def papers(self, kind: str, day_field: str, on: AsOn) -> Papers:
        """Papers of a kind whose own day has come and that have not been withdrawn by then."""
        counted: list[tuple[date, Certificate]] = []
        undated: list[Certificate] = []
        for paper in self._kinds.get(kind, ()):
            if paper.withdrawn is not None and on.reached(paper.withdrawn):
                continue
            day: date | None = getattr(paper, day_field)
            if day is None:
                undated.append(paper)
            elif on.reached(day):
                counted.append((day, paper))
        counted.sort(key=lambda pair: pair[0])
        return Papers(tuple(counted), tuple(undated))

    def tied(self, certificate: str, scheme: str, codes: Collection[str]) -> tuple[Defect, ...]:
        """Defects of a scheme and of these codes that belong to a certificate."""
        if not self.defects:
            return ()
        return tuple(d for d in self.defects if d.certificate == certificate and d.scheme == scheme and d.code in codes)

    def open_defects(self, scheme: str, codes: Collection[str], on: AsOn) -> tuple[Defect, ...]:
        """Those found by the day (or on a day nobody recorded) and not confirmed by it."""
        if not self.defects:
            return ()
        return tuple(d for d in self.defects if d.scheme == scheme and d.code in codes and is_open(d, on))

    def tenancies(self, on: AsOn) -> list[Tenancy]:
        """Running and coming tenancies, by start; one whose start is not recorded comes first."""
        current = [t for t in self.unit.tenancies or () if t.ends is None or not on.passed(t.ends)]
        return sorted(current, key=lambda t: (t.starts or date.min, t.ref))

    def running(self, on: AsOn) -> list[Tenancy]:
        """Tenancies under way; one whose start is not recorded is taken to be."""
        return [t for t in self.tenancies(on) if t.starts is None or on.reached(t.starts)]

    def acts(self, what: str, party: str | None, of: Collection[str | None], on: AsOn) -> list[date]:
        """Days by which something was done, oldest first; an act with no day recorded proves nothing."""
        return sorted(a.on for a in self.unit.events or () if _is_act(a, what, party, of) and a.on and on.reached(a.on))


def is_open(defect: Defect, on: AsOn) -> bool:
    """Work done or made safe does not close a defect; only confirmation by a second competent person does."""
    if defect.found is not None and not on.reached(defect.found):
        return False
    return defect.confirmed is None or not on.reached(defect.confirmed)


def _is_act(act: Act, what: str, party: str | None, of: Collection[str | None]) -> bool:
    return act.what == what and act.party == party and act.of in of
