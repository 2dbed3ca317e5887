"""Invented homes of all four nations in any number, for timing and for trying things out.

The same number gives the same home, whatever was asked before. Half are in order by the law of their nation as it
stands in autumn 2026; each of the others has one thing amiss that bars a let: a paper that is lacking, has lapsed or
failed, a dangerous defect, a missing alarm, or something nobody recorded.
"""

from collections.abc import Callable, Iterator
from dataclasses import replace
from datetime import date, timedelta
from random import Random

from portfolio.law import model as law

from . import generate_records as records
from .generate_records import SORTS, Plan

NATIONS = {"england": 70, "scotland": 12, "wales": 10, "northern_ireland": 8}
"""How many homes of a hundred lie in each."""
STREETS = ("Weir", "Tannery", "Lamp", "Cooper", "Mill", "Orchard", "Chapel", "Kiln")
HEATS = {
    "england": {"gas": 80, "oil": 5, "electric": 15},
    "scotland": {"gas": 80, "oil": 5, "electric": 15},
    "wales": {"gas": 75, "oil": 10, "electric": 15},
    "northern_ireland": {"gas": 30, "oil": 60, "electric": 10},
}
Home = tuple[law.Building, law.Unit]
Amiss = Callable[[Plan, law.Unit], law.Unit]


def homes(count: int, *, around: date, first: int = 0) -> Iterator[Home]:
    """`count` homes from number `first` on, each in a building of its own, with papers around a day."""
    for number in range(first, first + count):
        yield home(number, around=around)


def portfolio(count: int, *, around: date) -> law.Portfolio:
    """The same homes as one portfolio."""
    found = list(homes(count, around=around))
    return law.Portfolio(tuple(building for building, _ in found), tuple(unit for _, unit in found))


def home(number: int, *, around: date) -> Home:
    """Home number so-and-so: in order, or the same home with something amiss."""
    plan, building, unit = _made(number, around)
    if plan.chance.random() < 0.5:
        unit = plan.chance.choice(_ways(plan, unit))(plan, unit)
    return building, unit


def in_order(number: int, *, around: date) -> Home:
    """The same home before anything is amiss with it: it may be let and sold."""
    _, building, unit = _made(number, around)
    return building, unit


def _made(number: int, around: date) -> tuple[Plan, law.Building, law.Unit]:
    chance = Random(number)  # noqa: S311  # invented homes, not secrets
    nation, sort = _one_of(chance, NATIONS), _one_of(chance, SORTS)
    began = around - timedelta(days=chance.randint(30, 2000))
    plan = Plan(chance, around, nation, sort, _one_of(chance, HEATS[nation]), began)
    building = _building(plan, number)
    return plan, building, _unit(plan, number, building)


def _one_of(chance: Random, shares: dict[str, int]) -> str:
    return chance.choices(tuple(shares), tuple(shares.values()))[0]


def _building(plan: Plan, number: int) -> law.Building:
    chance = plan.chance
    flats = 1 if plan.is_shared or plan.is_single else chance.choice((1, 1, 6, 12))
    storeys = 3 if plan.is_shared else {1: 2, 6: 3, 12: 6}[flats]
    street = f"{chance.randint(1, 199)} {chance.choice(STREETS)} Lane"
    return law.Building(
        ref=f"B{number}",
        name=street,
        nation=plan.nation,
        address=(street, "Oxcombe"),
        postcode="ZZ1 1ZZ",
        year_built=chance.randint(1850, 2024),
        storeys=storeys,
        top_storey_height_m={2: 2.7, 3: 5.6, 6: 14.0}[storeys],
        self_contained_units=flats,
        purpose_built=flats > 1,
        common_parts=flats > 1,
        passenger_lift=flats == 12,
        lift_used_at_work=False,
        simultaneous_evacuation=False,
    )


def _unit(plan: Plan, number: int, building: law.Building) -> law.Unit:
    chance = plan.chance
    there = records.rooms(building)
    ended = chance.choice((None, plan.began + timedelta(days=364)))
    granted = plan.began - timedelta(days=14)
    bare = law.Unit(
        ref=f"U{number}",
        building=building.ref,
        label=f"Flat {chance.randint(1, 12)}" if building.common_parts else None,
        dwelling="room" if plan.is_single else "flat" if building.common_parts else "house",
        landlord=plan.landlord,
        landlord_ref=f"L{chance.randint(1, 5000)}",
        letting=law.Letting(_letting(plan)),
        occupancy=_occupancy(plan),
        hmo=_areas(plan),
        tenancies=(law.Tenancy("t1", granted, plan.began, ended),),
        marketing=(law.Marketing("let", plan.ahead(-5)),) if chance.random() < 0.1 else (),
        rooms=there,
        appliances=records.appliances(plan),
        landlord_electrical_appliances=chance.random() < 0.4,
        main_board_rcd_30ma=True,
        alarms=records.alarms(plan, there),
        defects=records.defects(plan),
    )
    dated = replace(bare, certificates=records.papers(plan, building, bare))
    return replace(dated, events=records.acts(plan, dated))


def _letting(plan: Plan) -> str:
    if plan.sort == "lodger":
        return "licence"
    return "occupation_contract" if plan.nation == "wales" else "tenancy"


def _occupancy(plan: Plan) -> law.Occupancy:
    if plan.is_shared:
        return law.Occupancy(5, 5, True)
    if plan.sort == "lodger":
        return law.Occupancy(2, 2, True)
    return law.Occupancy(plan.chance.randint(1, 4), 1, False)


def _areas(plan: Plan) -> law.Hmo:
    """The two kinds of licensing area are only known in England and Wales."""
    if plan.nation in ("england", "wales"):
        return law.Hmo(False, plan.chance.random() < 0.2)
    return law.Hmo()


def _ways(plan: Plan, unit: law.Unit) -> list[Amiss]:
    """What can go wrong with such a home and would bar a let of it."""
    ways: list[Amiss] = [_danger, _nobody_knows_whose]
    social = plan.landlord == "registered_provider"
    if plan.landlord == "private" or (social and plan.nation in ("england", "wales")):
        ways += [_no_paper("eicr"), _old_report, _failed_report]
    if plan.landlord == "private":
        ways.append(_nobody_counted)
    if not plan.is_single:
        ways += [_no_paper("epc"), _nobody_listed_papers]
    if plan.is_shared:
        ways.append(_no_paper("hmo_licence"))
    if plan.heat == "gas":
        ways += [_no_paper("gas_safety_record"), _old_gas_check]
    if _alarms_are_asked(plan, unit):
        ways += [_alarm_gone, _nobody_listed_alarms]
    return ways


def _alarms_are_asked(plan: Plan, unit: law.Unit) -> bool:
    """Not of a resident landlord, nor, in England, where a licence governs, nor of social lets in Northern Ireland."""
    if plan.nation == "england" and (plan.is_shared or unit.hmo.selective_licensing_area):
        return plan.landlord == "registered_provider"
    outside = ("resident", "registered_provider") if plan.nation == "northern_ireland" else ("resident",)
    return plan.landlord not in outside


def _no_paper(kind: str) -> Amiss:
    def without(_: Plan, unit: law.Unit) -> law.Unit:
        return _without(unit, {paper.ref for paper in unit.certificates or () if paper.kind == kind})

    return without


def _without(unit: law.Unit, refs: set[str]) -> law.Unit:
    """Without some of its papers and what was done about them."""
    papers = tuple(paper for paper in unit.certificates or () if paper.ref not in refs)
    return replace(
        unit, certificates=papers, events=tuple(one for one in unit.events or () if one.of not in refs)
    )


def _changed(unit: law.Unit, ref: str, **facts: object) -> law.Unit:
    """With other facts in one of its papers."""
    papers = unit.certificates or ()
    changed = (replace(one, **facts) if one.ref == ref else one for one in papers)  # type: ignore[arg-type]
    return replace(unit, certificates=tuple(changed))


def _old_report(plan: Plan, unit: law.Unit) -> law.Unit:
    return _changed(unit, "eicr", inspected=plan.ahead(-2200))


def _failed_report(_: Plan, unit: law.Unit) -> law.Unit:
    return _changed(unit, "eicr", outcome="unsatisfactory")


def _old_gas_check(plan: Plan, unit: law.Unit) -> law.Unit:
    """Only one check is on record, and it is over a year old."""
    return _changed(_without(unit, {"gas1", "gas2"}), "gas0", inspected=plan.ahead(-400))


def _danger(plan: Plan, unit: law.Unit) -> law.Unit:
    danger = law.Defect("d1", "bs7671", "C2", "Loose socket", plan.ahead(-5), "eicr")
    return replace(unit, defects=(*(unit.defects or ()), danger))


def _alarm_gone(_: Plan, unit: law.Unit) -> law.Unit:
    return replace(unit, alarms=(unit.alarms or ())[1:])


def _nobody_listed_alarms(_: Plan, unit: law.Unit) -> law.Unit:
    return replace(unit, alarms=None)


def _nobody_listed_papers(_: Plan, unit: law.Unit) -> law.Unit:
    bare = _without(unit, {paper.ref for paper in unit.certificates or ()})
    return replace(bare, certificates=None)


def _nobody_knows_whose(_: Plan, unit: law.Unit) -> law.Unit:
    return replace(unit, landlord=None)


def _nobody_counted(_: Plan, unit: law.Unit) -> law.Unit:
    return replace(unit, occupancy=law.Occupancy(None, None, None))
