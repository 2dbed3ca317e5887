"""Taking a portfolio in: new homes are created, known ones gain what is new, nothing stored is destroyed.

Buildings and units are matched by their ref within the agency. What the portfolio does not record (`None`)
leaves the stored value alone. A stored certificate, defect or act is never overwritten with a different
recorded value, and no other fact is changed so that a danger on record would count no longer: that would let a
file lift a danger or move a date unseen.
"""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field, fields, replace
from datetime import date
from typing import Any

from django.db import transaction

from portfolio.clock import Moment
from portfolio.exchange.faults import Fault
from portfolio.exchange.sense import points_nowhere
from portfolio.exchange.table import UNIT
from portfolio.facts import Facts, building_facts, facts_of
from portfolio.house_policy import book_of
from portfolio.law import model as law
from portfolio.models import Agency, Building, Unit
from portfolio.services.dangers import taken_away
from portfolio.services.events import Happening, Verb, record
from portfolio.services.take_in_rows import Taker
from portfolio.services.write import locked_buildings, locked_units
from portfolio.standing import refresh

CHUNK = 250
KEPT = {"certificates": "paper", "defects": "defect"}


@dataclass(frozen=True, slots=True)
class TakenIn:
    """How many units were created, changed, and were already the same; and the ids of those written."""

    created: int
    changed: int
    same: int
    unit_ids: tuple[int, ...]


class Refused(Exception):
    """The portfolio conflicts with what is stored; nothing was stored."""

    def __init__(self, faults: Sequence[Fault]) -> None:
        self.faults = list(faults)
        super().__init__("\n".join(str(fault) for fault in faults))


@dataclass(slots=True)
class Merge:
    """One unit of the portfolio beside what is stored of it."""

    unit: law.Unit
    building: law.Building
    stored_id: int | None
    stored: Facts | None
    wanted: law.Unit = field(init=False)
    changes: list[str] = field(init=False)
    """Which fields change, in the file's words: `label`, `certificates g1`, `building.storeys`."""

    def __post_init__(self) -> None:
        before = self.stored[1] if self.stored else law.Unit(self.unit.ref, self.unit.building)
        self.wanted = _merged(before, self.unit)
        self.changes = differences(before, self.wanted)
        if self.stored:
            building = self.stored[0]
            self.changes += [
                f"building.{name}" for name in differences(building, _merged(building, self.building))
            ]

    @property
    def state(self) -> str:
        """new, changed or same."""
        if self.stored is None:
            return "new"
        return "changed" if self.changes else "same"


def check(portfolio: law.Portfolio, *, agency: Agency, day: date) -> list[Fault]:
    """Every conflict with what is stored; empty when the portfolio can be taken in. `day`: today."""
    return _faults(portfolio, _merges(portfolio, agency), agency, day)


def _faults(portfolio: law.Portfolio, merges: list[Merge], agency: Agency, day: date) -> list[Fault]:
    found = [fault for index, merge in enumerate(merges) for fault in _conflicts(index, merge)]
    return found + [
        Fault(
            f"/units/{index}",
            f"with this, a danger{where} would count no longer: {' '.join(gone)}",
            "change it on the page of the home, where the reason is kept",
        )
        for index, where, gone in _dangers_gone(portfolio, merges, agency, day)
    ]


def _dangers_gone(
    portfolio: law.Portfolio, merges: list[Merge], agency: Agency, day: date
) -> Iterable[tuple[int, str, list[str]]]:
    """Which units of the file take a danger away, whose in words when not their own, and which."""
    places: dict[str, int] = {}
    book = book_of(agency.pk)
    for index, merge in enumerate(merges):
        places.setdefault(merge.unit.building, index)
        if merge.stored and merge.changes:
            building = _merged(merge.stored[0], merge.building)
            if gone := taken_away(merge.stored, (building, merge.wanted), day, book):
                yield index, "", gone
    in_file = {merge.stored_id for merge in merges}
    for held, after in _changed_buildings(portfolio, agency):
        there = Unit.objects.filter(building=held).values_list("pk", flat=True)
        for building, unit in facts_of(pk for pk in there if pk not in in_file).values():
            if gone := taken_away((building, unit), (after, unit), day, book):
                yield places.get(after.ref, 0), f" in its neighbour '{unit.ref}'", gone


def _changed_buildings(portfolio: law.Portfolio, agency: Agency) -> Iterable[tuple[int, law.Building]]:
    """Ids of the buildings on record that the file changes, with what they would be."""
    said = {building.ref: building for building in portfolio.buildings}
    refs = sorted(said)
    for start in range(0, len(refs), CHUNK):
        for held in Building.objects.filter(agency=agency, ref__in=refs[start : start + CHUNK]):
            before = building_facts(held)
            if (after := _merged(before, said[held.ref])) != before:
                yield held.pk, after


def compare(portfolio: law.Portfolio, *, agency: Agency) -> dict[str, Merge]:
    """What taking it in would do, by unit ref."""
    return {merge.unit.ref: merge for merge in _merges(portfolio, agency)}


@transaction.atomic
def take_in(
    portfolio: law.Portfolio,
    *,
    agency: Agency,
    actor: Any,
    moment: Moment,
    progress: Callable[[int], None] = lambda done: None,
) -> TakenIn:
    """Store the portfolio: all or nothing. Raises Refused with every fault, or ValidationError.

    `progress` is told how many units have been taken in so far.
    """
    _lock(portfolio, agency)
    merges = _merges(portfolio, agency)
    if faults := _faults(portfolio, merges, agency, moment.day):
        raise Refused(faults)
    taker = Taker(agency=agency, actor=actor, moment=moment)
    changed_buildings = taker.buildings(portfolio.buildings)
    written: list[int] = []
    for start in range(0, len(merges), CHUNK):
        chunk = merges[start : start + CHUNK]
        ids = taker.units([merge for merge in chunk if merge.state != "same"])
        record(_happenings(chunk, ids), agency_id=agency.pk, actor=actor, moment=moment)
        refresh(ids.values(), moment=moment, actor=actor)
        written += ids.values()
        progress(start + len(chunk))
    neighbours = Unit.objects.filter(building__in=changed_buildings).exclude(pk__in=written)
    refresh(neighbours.values_list("pk", flat=True), moment=moment, actor=actor)
    states = [merge.state for merge in merges]
    return TakenIn(states.count("new"), states.count("changed"), states.count("same"), tuple(written))


def _lock(portfolio: law.Portfolio, agency: Agency) -> None:
    """Lock every home already held in these buildings or under these refs, in the order all writers use."""
    for start in range(0, len(portfolio.buildings), CHUNK):
        chunk = sorted(b.ref for b in portfolio.buildings)[start : start + CHUNK]
        locked_buildings(agency=agency, ref__in=chunk)
    ids: set[int] = set()
    for name, refs in (
        ("ref", [u.ref for u in portfolio.units]),
        ("building__ref", [b.ref for b in portfolio.buildings]),
    ):
        for start in range(0, len(refs), CHUNK):
            some = Unit.objects.filter(agency=agency, **{f"{name}__in": refs[start : start + CHUNK]})
            ids.update(some.values_list("pk", flat=True))
    ordered = sorted(ids)
    for start in range(0, len(ordered), CHUNK):
        locked_units(ordered[start : start + CHUNK])


def _merges(portfolio: law.Portfolio, agency: Agency) -> list[Merge]:
    buildings = {building.ref: building for building in portfolio.buildings}
    refs = [unit.ref for unit in portfolio.units]
    ids: dict[str, int] = {}
    for start in range(0, len(refs), CHUNK):
        known = Unit.objects.filter(agency=agency, ref__in=refs[start : start + CHUNK])
        ids.update(known.values_list("ref", "pk"))
    stored: dict[int, Facts] = {}
    pks = list(ids.values())
    for start in range(0, len(pks), CHUNK):
        stored.update(facts_of(pks[start : start + CHUNK]))
    return [
        Merge(unit, buildings[unit.building], ids.get(unit.ref), stored.get(ids.get(unit.ref, 0)))
        for unit in portfolio.units
    ]


def _merged(before: Any, new: Any) -> Any:
    """`before` with everything that `new` records; lists by ref, so that nothing stored is dropped."""
    if before is None or new is None:
        return before if new is None else new
    values: dict[str, Any] = {}
    for f in fields(new):
        old, value = getattr(before, f.name), getattr(new, f.name)
        if f.name in ("letting", "occupancy", "hmo"):
            values[f.name] = _merged(old, value)
        elif f.name in Unit.LISTS:
            values[f.name] = _merged_list(old, value)
        else:
            values[f.name] = old if value is None else value
    return replace(new, **values)


def _merged_list(old: tuple[Any, ...] | None, new: tuple[Any, ...] | None) -> tuple[Any, ...] | None:
    if old is None or new is None:
        return old if new is None else new
    if not all(hasattr(item, "ref") for item in (*old, *new)):
        return old + tuple(item for item in new if item not in old)
    by_ref = {item.ref: item for item in old}
    for item in new:
        by_ref[item.ref] = _merged(by_ref.get(item.ref), item)
    return tuple(by_ref.values())


def differences(before: Any, after: Any) -> list[str]:
    """Names of the facts that differ, list items by ref ("certificates g1")."""
    found: list[str] = []
    for f in fields(after):
        old, new = getattr(before, f.name), getattr(after, f.name)
        if old == new:
            continue
        if f.name in Unit.LISTS and new is not None:
            changed = [item for item in new if item not in (old or ())]
            found += [f"{f.name} {_item_name(item)}" for item in changed] or [f.name]
        else:
            found.append(f.name)
    return found


def _item_name(item: Any) -> str:
    names = (getattr(item, name, None) for name in ("ref", "what", "purpose"))
    return next((str(name) for name in names if name), "")


def _conflicts(index: int, merge: Merge) -> Iterable[Fault]:
    held = {
        name: frozenset(item.ref for item in getattr(merge.wanted, name) or ())
        for name in Unit.LISTS
        if name not in ("marketing", "events")
    }
    yield from points_nowhere(UNIT, UNIT.write(merge.unit), f"/units/{index}", held)
    if merge.stored is None:
        return
    if merge.stored[1].building != merge.unit.building:
        yield Fault(
            f"/units/{index}/building",
            f"the home '{merge.unit.ref}' is already held, in building '{merge.stored[1].building}'",
            "use that building's ref, or give this home a ref of its own",
        )
    for name, word in KEPT.items():
        stored = {item.ref: item for item in getattr(merge.stored[1], name) or ()}
        for place, item in enumerate(getattr(merge.unit, name) or ()):
            old = stored.get(item.ref)
            for key in _overwritten(old, item) if old else ():
                yield Fault(
                    f"/units/{index}/{name}/{place}/{key}",
                    f"the {word} '{item.ref}' is already held with a different value here",
                    f"correct it on the page of the home, or give a new {word} a ref of its own",
                )


def _overwritten(old: Any, new: Any) -> list[str]:
    """Fields of a kept record that the file would change.

    A paper may gain what was not recorded of it, but for the day from which it counts no longer: that day could
    lift what the paper says. A defect gains nothing from a file.
    """
    closed = isinstance(new, law.Defect)
    return [
        f.name
        for f in fields(new)
        if (value := getattr(new, f.name)) is not None
        and value != getattr(old, f.name)
        and (closed or f.name == "withdrawn" or getattr(old, f.name) is not None)
    ]


def _happenings(merges: list[Merge], ids: dict[str, int]) -> Iterable[Happening]:
    for merge in merges:
        if merge.state == "same":
            continue
        pk = ids[merge.unit.ref]
        if merge.state == "new":
            yield Happening(Verb.UNIT_ADDED, f"unit:{pk}", "The home was taken in.", pk)
        else:
            says = f"The home was changed by an import: {', '.join(merge.changes)}."
            yield Happening(Verb.UNIT_CHANGED, f"unit:{pk}", says, pk, {"fields": merge.changes})
