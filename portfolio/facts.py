"""What is on record about homes, as the plain facts the law is asked about: in bulk, whatever the number."""

from collections import defaultdict
from collections.abc import Callable, Iterable
from datetime import date, datetime
from typing import Any, Protocol, TypeVar

from django.conf import settings
from django.utils.module_loading import import_string

from portfolio.clock import Moment
from portfolio.law import model as law
from portfolio.models import (
    Act,
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
from portfolio.past import records

Facts = tuple[law.Building, law.Unit]
ACTS_NAME = ("certificates", "defects", "alarms", "appliances", "tenancies")
Fact = TypeVar("Fact")


class FactSource(Protocol):
    """Somewhere outside this app that knows of defects; named in settings.FACT_SOURCES."""

    def read(self, unit_ids: Iterable[int], *, known: datetime | None = None) -> dict[int, list[law.Defect]]:
        """The defects of each of these units, in bulk; with `known`, as recorded before that instant."""

    def store(self, defects: dict[int, list[law.Defect]], *, actor: Any, moment: Moment) -> None:
        """Keep new defects that came in with a portfolio file."""


def sources() -> list[FactSource]:
    return [import_string(path) for path in settings.FACT_SOURCES]


def facts_of(unit_ids: Iterable[int]) -> dict[int, Facts]:
    """The facts of each unit by its id; the number of queries does not depend on the number of units."""
    ids = list(unit_ids)
    units = Unit.objects.filter(pk__in=ids).select_related("building", "landlord").order_by("pk")
    lists = _lists(ids)
    return {
        unit.pk: (building_facts(unit.building), _unit_facts(unit, unit.building, unit.landlord, lists))
        for unit in units
    }


def facts_known(unit_id: int, known: datetime) -> Facts | None:
    """The facts of a home as they were on record before an instant; None if it was not on record yet.

    Later corrections, additions, removals and confirmations do not show.
    """
    units = records(Unit, known, id=unit_id)
    buildings = records(Building, known, id=units[0].building_id) if units else []
    if not buildings:
        return None
    unit, building = units[0], buildings[0]
    # Refs never change, and no landlord is ever deleted, so that the one held now will do.
    landlord = Landlord.objects.filter(pk=unit.landlord_id).first() if unit.landlord_id else None
    return building_facts(building), _unit_facts(unit, building, landlord, _lists([unit_id], known))


def portfolio_of(unit_ids: Iterable[int]) -> law.Portfolio:
    """The same facts as a portfolio, each building once."""
    facts = facts_of(unit_ids).values()
    buildings = {building.ref: building for building, _ in facts}
    return law.Portfolio(tuple(buildings.values()), tuple(unit for _, unit in facts))


def _lists(ids: list[int], known: datetime | None = None) -> dict[str, dict[int, list[Any]]]:
    """The lists of these units, now or as recorded before an instant. What was removed by then is left out."""
    rooms = records(Room, known, unit__in=ids)
    appliances = records(Appliance, known, unit__in=ids)
    refs = {room.id: room.ref for room in rooms}
    there = {one.id: one.ref for one in appliances if one.removed is None}
    checks: dict[int, list[law.ApplianceCheck]] = defaultdict(list)
    for check in records(ApplianceCheck, known, certificate__unit__in=ids):
        if check.appliance_id in there:
            checks[check.certificate_id].append(law.ApplianceCheck(there[check.appliance_id], check.result))
    defects: dict[int, list[law.Defect]] = defaultdict(list)
    for source in sources():
        for unit_id, found in source.read(ids, known=known).items():
            defects[unit_id].extend(found)
    return {
        "rooms": _by_unit(_there(rooms), lambda r: law.Room(r.ref, r.level, r.use)),
        "appliances": _by_unit(_there(appliances), lambda a: _appliance(a, refs.get(a.room_id))),
        "alarms": _by_unit(
            _there(records(Alarm, known, unit__in=ids)), lambda a: _alarm(a, refs.get(a.room_id))
        ),
        "certificates": _by_unit(
            records(Certificate, known, unit__in=ids), lambda c: certificate_facts(c, checks[c.id])
        ),
        "defects": defects,
        "tenancies": _by_unit(
            records(Tenancy, known, unit__in=ids), lambda t: law.Tenancy(t.ref, t.granted, t.starts, t.ends)
        ),
        "marketing": _by_unit(
            records(Marketing, known, unit__in=ids), lambda m: law.Marketing(m.purpose, m.starts)
        ),
        "events": _by_unit(
            records(Act, known, unit__in=ids), lambda a: law.Act(a.what, a.of, a.party, a.on, a.at)
        ),
    }


def _there(rows: Iterable[Any]) -> list[Any]:
    return [row for row in rows if row.removed is None]


def _by_unit(rows: Iterable[Any], fact: Callable[[Any], Fact]) -> dict[int, list[Fact]]:
    by_unit: dict[int, list[Fact]] = defaultdict(list)
    for row in rows:
        by_unit[row.unit_id].append(fact(row))
    return by_unit


def building_facts(b: Any) -> law.Building:
    return law.Building(
        ref=b.ref,
        name=b.name,
        nation=b.nation,
        address=None if b.address is None else tuple(b.address),
        postcode=b.postcode,
        year_built=b.year_built,
        storeys=b.storeys,
        top_storey_height_m=b.top_storey_height_m,
        self_contained_units=b.self_contained_units,
        purpose_built=b.purpose_built,
        common_parts=b.common_parts,
        passenger_lift=b.passenger_lift,
        lift_used_at_work=b.lift_used_at_work,
        simultaneous_evacuation=b.simultaneous_evacuation,
    )


def _unit_facts(
    u: Any, building: Any, landlord: Landlord | None, lists: dict[str, dict[int, list[Any]]]
) -> law.Unit:
    listed = {
        name: tuple(lists[name].get(u.id, ())) if getattr(u, f"{name}_listed") else None
        for name in Unit.LISTS
    }
    if listed["events"] is not None:
        # Like a check of an appliance, an act about a thing taken out of the home goes with the thing.
        known = _nameable(listed)
        listed["events"] = tuple(act for act in listed["events"] if act.of is None or act.of in known)
    return law.Unit(
        ref=u.ref,
        building=building.ref,
        label=u.label,
        dwelling=u.dwelling,
        landlord=u.landlord_kind,
        landlord_ref=landlord.ref if landlord else None,
        letting=law.Letting(u.letting_kind, u.letting_term_years),
        occupancy=law.Occupancy(u.persons, u.households, u.shares_amenities),
        hmo=law.Hmo(u.additional_licensing_area, u.selective_licensing_area),
        acquired_with_tenant=u.acquired_with_tenant,
        landlord_electrical_appliances=u.landlord_electrical_appliances,
        main_board_rcd_30ma=u.main_board_rcd_30ma,
        **listed,
    )


def nameable(unit: law.Unit) -> set[str]:
    """The refs an act may be about: papers, defects, alarms, appliances and tenancies on record."""
    return _nameable({name: getattr(unit, name) for name in ACTS_NAME})


def _nameable(listed: dict[str, Any]) -> set[str]:
    return {item.ref for name in ACTS_NAME for item in listed[name] or ()}


def _appliance(a: Any, room: str | None) -> law.Appliance:
    return law.Appliance(a.ref, a.kind, room, a.owner, a.installed)


def _alarm(a: Any, room: str | None) -> law.Alarm:
    return law.Alarm(
        ref=a.ref,
        kind=a.kind,
        room=room,
        power=a.power,
        interlinked=a.interlinked,
        working=a.working,
        replace_by=a.replace_by,
        tested=None if a.tested is None else tuple(date.fromisoformat(day) for day in a.tested),
    )


def certificate_facts(c: Any, checks: list[law.ApplianceCheck]) -> law.Certificate:
    return law.Certificate(
        ref=c.ref,
        kind=c.kind,
        number=c.number,
        inspected=c.inspected,
        issued=c.issued,
        registered=c.registered,
        until=c.until,
        outcome=c.outcome,
        rating=c.rating,
        next_within_years=c.next_within_years,
        remedy_within_days=c.remedy_within_days,
        appliances=tuple(checks) if c.appliances_listed else None,
        exemption=c.exemption,
        applied=c.applied,
        withdrawn=c.withdrawn,
    )
