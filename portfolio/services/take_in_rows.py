"""The rows behind taking a portfolio in: facts into records, in bulk."""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import fields
from typing import TYPE_CHECKING, Any

from portfolio.clock import Moment
from portfolio.facts import building_facts, sources
from portfolio.law import model as law
from portfolio.models import (
    Act,
    Agency,
    Alarm,
    Appliance,
    ApplianceCheck,
    Building,
    Certificate,
    Landlord,
    Marketing,
    Room,
    Tenancy,
    Unit,
)
from portfolio.services.events import Happening, Verb, record
from portfolio.services.write import create_all, save

if TYPE_CHECKING:
    from portfolio.services.take_in import Merge

BUILDING_FIELDS = tuple(f.name for f in fields(law.Building) if f.name != "ref")
TENANCY_FIELDS = ("granted", "starts", "ends")
CERTIFICATE_FIELDS = (
    "kind", "number", "inspected", "issued", "registered", "until", "outcome", "rating", "next_within_years",
    "remedy_within_days", "exemption", "applied", "withdrawn",
)  # fmt: skip
Pair = tuple[Unit, law.Unit]


class Taker:
    """Writes the facts of one take-in, for one agency, by one person, at one moment."""

    def __init__(self, *, agency: Agency, actor: Any, moment: Moment) -> None:
        self.agency, self.actor, self.moment = agency, actor, moment
        self.who = {"actor": actor, "moment": moment}

    def buildings(self, facts: Iterable[law.Building]) -> list[int]:
        """Create or complete buildings; returns the ids of those already held that changed."""
        facts = list(facts)
        held = {b.ref: b for b in Building.objects.filter(agency=self.agency, ref__in=[f.ref for f in facts])}
        new, changed = [], []
        for fact in facts:
            building = held.get(fact.ref)
            if building is None:
                building = Building(agency=self.agency, ref=fact.ref)
                new.append(_set(building, fact, BUILDING_FIELDS))
                continue
            before = building_facts(building)
            if building_facts(_set(building, fact, BUILDING_FIELDS)) != before:
                save(building, **self.who)
                changed.append(building)
        create_all(Building, new, **self.who)
        says = [
            Happening(
                Verb.BUILDING_CHANGED, f"building:{b.pk}", f"The facts of {b} were changed by an import."
            )
            for b in changed
        ]
        record(says, agency_id=self.agency.pk, **self.who)
        return [b.pk for b in changed]

    def units(self, merges: "Sequence[Merge]") -> dict[str, int]:
        """Write the units and their lists; returns their ids by ref."""
        if not merges:
            return {}
        pairs = self._unit_rows(merges)
        appliances = self.contents(pairs)
        self._listed(pairs, "tenancies", Tenancy, TENANCY_FIELDS)
        self._certificates(pairs, appliances)
        self._defects(pairs, merges)
        self._refless(pairs, merges)
        return {unit.ref: unit.pk for unit, _ in pairs}

    def _unit_rows(self, merges: "Sequence[Merge]") -> list[Pair]:
        held = {u.ref: u for u in Unit.objects.filter(pk__in=[m.stored_id for m in merges if m.stored_id])}
        buildings = dict(
            Building.objects.filter(
                agency=self.agency, ref__in={m.unit.building for m in merges}
            ).values_list("ref", "pk")
        )
        landlords = self.landlords({m.wanted.landlord_ref for m in merges} - {None})
        new, pairs = [], []
        for merge in merges:
            unit = held.get(merge.unit.ref)
            fresh = unit is None
            unit = unit or Unit(agency=self.agency, ref=merge.unit.ref)
            unit.building_id = buildings[merge.unit.building]
            set_unit(unit, merge.wanted, landlords)
            new.append(unit) if fresh else save(unit, **self.who)
            pairs.append((unit, merge.wanted))
        create_all(Unit, new, **self.who)
        return pairs

    def landlords(self, refs: Iterable[Any]) -> dict[str, int]:
        """Ids by ref; a ref not held yet becomes a landlord of that name."""
        refs = sorted(refs)
        held = dict(Landlord.objects.filter(agency=self.agency, ref__in=refs).values_list("ref", "pk"))
        new = [Landlord(agency=self.agency, ref=ref, name=ref) for ref in refs if ref not in held]
        made = create_all(Landlord, new, **self.who) if new else []
        return held | {landlord.ref: landlord.pk for landlord in made}

    def contents(self, pairs: list[Pair]) -> dict[tuple[int, str], int]:
        """Write rooms, appliances and alarms; returns the appliances' ids by (unit id, ref)."""
        rooms = self._listed(pairs, "rooms", Room, ("level", "use"), lambda r: {"removed": None})
        self._listed(pairs, "alarms", Alarm, ALARM_FIELDS, _alarm_values, rooms)
        return self._listed(pairs, "appliances", Appliance, APPLIANCE_FIELDS, _appliance_values, rooms)

    def _listed(
        self,
        pairs: list[Pair],
        name: str,
        model: Any,
        same: Sequence[str],
        more: Callable[[Any], dict[str, Any]] = lambda item: {},
        rooms: dict[tuple[int, str], int] | None = None,
    ) -> dict[tuple[int, str], int]:
        """Create or change the items of one list; returns ids by (unit id, ref)."""
        held = {(r.unit_id, r.ref): r for r in model.objects.filter(unit__in=[u.pk for u, _ in pairs])}
        new = []
        for unit, facts in pairs:
            for item in getattr(facts, name) or ():
                values = {key: getattr(item, key) for key in same} | more(item)
                if values.get("room_id") is not None and rooms is not None:
                    values["room_id"] = rooms[unit.pk, values["room_id"]]
                row = held.get((unit.pk, item.ref))
                if row is None:
                    new.append(model(unit=unit, ref=item.ref, **values))
                elif any(getattr(row, key) != value for key, value in values.items()):
                    for key, value in values.items():
                        setattr(row, key, value)
                    save(row, **self.who)
        made = create_all(model, new, **self.who) if new else []
        return {key: row.pk for key, row in held.items()} | {(r.unit_id, r.ref): r.pk for r in made}

    def _certificates(self, pairs: list[Pair], appliances: dict[tuple[int, str], int]) -> None:
        papers = self._listed(
            pairs,
            "certificates",
            Certificate,
            CERTIFICATE_FIELDS,
            lambda c: {"appliances_listed": c.appliances is not None},
        )
        wanted = {
            (papers[unit.pk, c.ref], appliances[unit.pk, check.appliance]): check.result
            for unit, facts in pairs
            for c in facts.certificates or ()
            for check in c.appliances or ()
        }
        held = ApplianceCheck.objects.filter(certificate__in=[paper for paper, _ in wanted])
        known = set(held.values_list("certificate_id", "appliance_id"))
        new = [
            ApplianceCheck(certificate_id=paper, appliance_id=appliance, result=result)
            for (paper, appliance), result in wanted.items()
            if (paper, appliance) not in known
        ]
        if new:
            create_all(ApplianceCheck, new, **self.who)

    def _defects(self, pairs: list[Pair], merges: "Sequence[Merge]") -> None:
        """Only new defects; a source outside this app keeps them."""
        new = {
            unit.pk: _new_items("defects", merge, facts)
            for (unit, facts), merge in zip(pairs, merges, strict=True)
        }
        if any(new.values()):
            sources()[0].store({pk: found for pk, found in new.items() if found}, **self.who)

    def _refless(self, pairs: list[Pair], merges: "Sequence[Merge]") -> None:
        acts, marketing = [], []
        for (unit, facts), merge in zip(pairs, merges, strict=True):
            acts += [
                Act(unit=unit, what=a.what, of=a.of, party=a.party, on=a.on, at=a.at)
                for a in _new_items("events", merge, facts)
            ]
            marketing += [
                Marketing(unit=unit, purpose=m.purpose, starts=m.starts)
                for m in _new_items("marketing", merge, facts)
            ]
        if acts:
            create_all(Act, acts, **self.who)
        if marketing:
            create_all(Marketing, marketing, **self.who)


ALARM_FIELDS = ("kind", "power", "interlinked", "working", "replace_by")

APPLIANCE_FIELDS = ("kind", "owner", "installed")


def _appliance_values(appliance: law.Appliance) -> dict[str, Any]:
    return {"room_id": appliance.room, "removed": None}


def _alarm_values(alarm: law.Alarm) -> dict[str, Any]:
    tested = None if alarm.tested is None else [day.isoformat() for day in alarm.tested]
    return {"room_id": alarm.room, "tested": tested, "removed": None}


def _new_items(name: str, merge: "Merge", facts: law.Unit) -> list[Any]:
    """Items of a list that are not stored yet, by ref or, without one, by everything they say."""
    stored = getattr(merge.stored[1], name) or () if merge.stored else ()
    known = [getattr(item, "ref", item) for item in stored]
    return [item for item in getattr(facts, name) or () if getattr(item, "ref", item) not in known]


def _set(record_: Any, facts: Any, names: Iterable[str]) -> Any:
    """Copy every recorded fact; what is not recorded leaves the record as it is."""
    for name in names:
        value = getattr(facts, name)
        if value is not None:
            setattr(record_, name, list(value) if isinstance(value, tuple) else value)
    return record_


def set_unit(unit: Unit, facts: law.Unit, landlords: dict[str, int]) -> None:
    """Copy the facts of a home itself, recorded or not; `landlords` are ids by ref."""
    unit.landlord_id = landlords[facts.landlord_ref] if facts.landlord_ref is not None else None
    for name in (
        "label",
        "dwelling",
        "acquired_with_tenant",
        "landlord_electrical_appliances",
        "main_board_rcd_30ma",
    ):
        setattr(unit, name, getattr(facts, name))
    unit.landlord_kind = facts.landlord
    unit.letting_kind, unit.letting_term_years = facts.letting.kind, facts.letting.term_years
    unit.persons, unit.households = facts.occupancy.persons, facts.occupancy.households
    unit.shares_amenities = facts.occupancy.shares_amenities
    unit.additional_licensing_area = facts.hmo.additional_licensing_area
    unit.selective_licensing_area = facts.hmo.selective_licensing_area
    for name in Unit.LISTS:
        setattr(unit, f"{name}_listed", getattr(facts, name) is not None)
