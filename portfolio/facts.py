"""What is on record about homes, as the plain facts the law is asked about: in bulk, whatever the number."""

from collections import defaultdict
from collections.abc import Callable, Iterable
from datetime import date
from typing import Any, Protocol, TypeVar

from django.conf import settings
from django.db.models import QuerySet
from django.utils.module_loading import import_string

from portfolio.clock import Moment
from portfolio.law import model as law
from portfolio.models import (
    Act,
    Alarm,
    Appliance,
    ApplianceCheck,
    Certificate,
    Marketing,
    Room,
    Tenancy,
    Unit,
)

Facts = tuple[law.Building, law.Unit]
ACTS_NAME = ("certificates", "defects", "alarms", "appliances", "tenancies")
Fact = TypeVar("Fact")


class FactSource(Protocol):
    """Somewhere outside this app that knows of defects; named in settings.FACT_SOURCES."""

    def read(self, unit_ids: Iterable[int]) -> dict[int, list[law.Defect]]:
        """The defects of each of these units, in bulk."""

    def store(self, defects: dict[int, list[law.Defect]], *, actor: Any, moment: Moment) -> None:
        """Keep new defects that came in with a portfolio file."""


def sources() -> list[FactSource]:
    return [import_string(path) for path in settings.FACT_SOURCES]


def facts_of(unit_ids: Iterable[int]) -> dict[int, Facts]:
    """The facts of each unit by its id; the number of queries does not depend on the number of units."""
    ids = list(unit_ids)
    units = Unit.objects.filter(pk__in=ids).select_related("building", "landlord").order_by("pk")
    lists = _lists(ids)
    return {unit.pk: (building_facts(unit.building), _unit_facts(unit, lists)) for unit in units}


def portfolio_of(unit_ids: Iterable[int]) -> law.Portfolio:
    """The same facts as a portfolio, each building once."""
    facts = facts_of(unit_ids).values()
    buildings = {building.ref: building for building, _ in facts}
    return law.Portfolio(tuple(buildings.values()), tuple(unit for _, unit in facts))


def _lists(ids: list[int]) -> dict[str, dict[int, list[Any]]]:
    checks: dict[int, list[law.ApplianceCheck]] = defaultdict(list)
    rows = ApplianceCheck.objects.filter(certificate__unit__in=ids, appliance__removed=None).order_by("pk")
    for certificate_id, ref, result in rows.values_list("certificate_id", "appliance__ref", "result"):
        checks[certificate_id].append(law.ApplianceCheck(ref, result))
    defects: dict[int, list[law.Defect]] = defaultdict(list)
    for source in sources():
        for unit_id, found in source.read(ids).items():
            defects[unit_id].extend(found)
    return {
        "rooms": _by_unit(Room.objects.filter(removed=None), ids, lambda r: law.Room(r.ref, r.level, r.use)),
        "appliances": _by_unit(
            Appliance.objects.filter(removed=None).select_related("room"), ids, _appliance
        ),
        "alarms": _by_unit(Alarm.objects.filter(removed=None).select_related("room"), ids, _alarm),
        "certificates": _by_unit(Certificate.objects, ids, lambda c: certificate_facts(c, checks[c.pk])),
        "defects": defects,
        "tenancies": _by_unit(
            Tenancy.objects, ids, lambda t: law.Tenancy(t.ref, t.granted, t.starts, t.ends)
        ),
        "marketing": _by_unit(Marketing.objects, ids, lambda m: law.Marketing(m.purpose, m.starts)),
        "events": _by_unit(Act.objects, ids, lambda a: law.Act(a.what, a.of, a.party, a.on, a.at)),
    }


def _by_unit(rows: QuerySet | Any, ids: list[int], fact: Callable[[Any], Fact]) -> dict[int, list[Fact]]:
    by_unit: dict[int, list[Fact]] = defaultdict(list)
    for row in rows.filter(unit__in=ids).order_by("pk"):
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


def _unit_facts(u: Unit, lists: dict[str, dict[int, list[Any]]]) -> law.Unit:
    listed = {
        name: tuple(lists[name].get(u.pk, ())) if getattr(u, f"{name}_listed") else None
        for name in Unit.LISTS
    }
    if listed["events"] is not None:
        # Like a check of an appliance, an act about a thing taken out of the home goes with the thing.
        known = _nameable(listed)
        listed["events"] = tuple(act for act in listed["events"] if act.of is None or act.of in known)
    return law.Unit(
        ref=u.ref,
        building=u.building.ref,
        label=u.label,
        dwelling=u.dwelling,
        landlord=u.landlord_kind,
        landlord_ref=u.landlord.ref if u.landlord else None,
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


def _appliance(a: Appliance) -> law.Appliance:
    return law.Appliance(a.ref, a.kind, a.room.ref if a.room else None, a.owner, a.installed)


def _alarm(a: Alarm) -> law.Alarm:
    return law.Alarm(
        ref=a.ref,
        kind=a.kind,
        room=a.room.ref if a.room else None,
        power=a.power,
        interlinked=a.interlinked,
        working=a.working,
        replace_by=a.replace_by,
        tested=None if a.tested is None else tuple(date.fromisoformat(day) for day in a.tested),
    )


def certificate_facts(c: Certificate, checks: list[law.ApplianceCheck]) -> law.Certificate:
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
