"""A fact nobody recorded never helps: it is named, or it could not have changed the result."""

from copy import deepcopy
from datetime import date
from typing import Any

import pytest

from portfolio.law.model import Standing

from .homes import BUILDING, FLAT, TODAY, home, standing

Facts = dict[str, Any]
SHARED = {"persons": 5, "households": 3, "shares_amenities": True}
BAND_F = {"ref": "p", "kind": "epc", "registered": "2020-09-10", "until": "2030-09-09", "rating": "F"}
NO_EPC = {"kind": "epc"}
ORDER = {"ref": "o", "kind": "epc_commission", "issued": "2026-11-20"}

HARMLESS = {
    "building.name", "building.address", "building.postcode", "building.year_built", "building.storeys",
    "unit.label",
    # One household shares with nobody.
    "unit.occupancy.shares_amenities", "unit.hmo.additional_licensing_area", "building.self_contained_units",
    "building.purpose_built", "unit.tenancies", "unit.marketing", "unit.events",
    # Rooms whose storey is covered whatever they are, and where no alarm is counted on.
    "unit.rooms.0.use", "unit.rooms.1.use", "unit.rooms.2.use", "unit.rooms.3.use", "unit.rooms.4.use",
    # Taken to be the landlord's; and its checks are known, so the day it was fitted is not needed.
    "unit.appliances.0.owner", "unit.appliances.0.installed",
    "unit.certificates.2.until",
    # Asked of social landlords only.
    "unit.landlord_electrical_appliances",
    # Decides only what is warned of.
    "building.common_parts",
}  # fmt: skip
"""Facts of the clear flat that could not change its result, each because something recorded settles it."""


def paths(tree: Any, so_far: str) -> list[str]:
    """Every fact in a tree: `unit.rooms.0.level` and so on, the refs left out."""
    if isinstance(tree, dict):
        return [path for key, value in tree.items() for path in paths(value, f"{so_far}.{key}")]
    if isinstance(tree, list) and tree and isinstance(tree[0], dict):
        return [so_far, *(path for n, one in enumerate(tree) for path in paths(one, f"{so_far}.{n}"))]
    return [so_far]


def is_required(path: str) -> bool:
    """The file itself refuses a record without these."""
    last = path.split(".")[-1]
    return last in ("ref", "building", "appliance") or (last == "kind" and ".certificates." in path)


def without(path: str) -> Standing:
    tree = {"building": deepcopy(BUILDING), "unit": deepcopy(FLAT)}
    *steps, last = path.split(".")
    place: Any = tree
    for step in steps:
        place = place[int(step)] if isinstance(place, list) else place[step]
    place[last] = None
    facts = {key: value for key, value in tree["unit"].items() if key != "building"}
    return standing(TODAY, building=tree["building"], **facts)


ALL = [path for path in paths(BUILDING, "building") + paths(FLAT, "unit") if not is_required(path)]


def named(answer: Standing, fact: str) -> bool:
    """Does some bar say that this very fact is not recorded?"""
    reasons = (*answer.let.bars, *answer.sale.bars)
    return any(
        r.kind == "unknown" and f"({fact})" in r.says and r.cure.startswith("Record ") for r in reasons
    )


def field_of(path: str) -> str:
    """What a reason calls the fact: rooms, alarms and appliances by list and field, the rest by field."""
    steps = [step for step in path.split(".")[1:] if not step.isdigit()]
    return ".".join(steps[-1:] if steps[0] == "certificates" else steps)


@pytest.mark.parametrize("path", [path for path in ALL if path not in HARMLESS])
def test_a_fact_missing_from_the_clear_flat_is_named_and_bars(path: str) -> None:
    answer = without(path)
    assert not answer.let.clear
    if path == "unit.certificates.1.appliances.0.result":
        assert named(answer, "appliances.result")
    else:
        assert named(answer, field_of(path)), [r.says for r in answer.let.bars]


@pytest.mark.parametrize("path", sorted(HARMLESS))
def test_a_fact_that_could_not_change_the_result_is_not_asked_for(path: str) -> None:
    assert path in ALL
    assert without(path).let.clear


NO_EICR, NO_GAS = {"kind": "eicr"}, {"kind": "gas_safety_record"}
EXEMPT = {"ref": "x", "kind": "mees_exemption"}
LICENCE = {"ref": "l", "kind": "hmo_licence", "until": "2029-01-01"}
AREA_UNSAID = {"selective_licensing_area": False}
ADDITIONAL = {"additional_licensing_area": True, "selective_licensing_area": False}
SELECTIVE = {"additional_licensing_area": False, "selective_licensing_area": True}
HOUSE = {"dwelling": "house"}
DECISIVE: list[tuple[str, str, Facts]] = [
    ("eng_eicr", "landlord", {"papers": [NO_EICR], "landlord": None}),
    ("eng_eicr", "letting.kind", {"papers": [NO_EICR], "letting": {}}),
    ("gb_gas_check", "letting.kind", {"papers": [NO_GAS], "letting": {}}),
    ("ew_epc", "dwelling", {"papers": [NO_EPC], "dwelling": None}),
    ("ew_mees", "landlord", {"papers": [BAND_F], "landlord": None}),
    ("ew_mees", "letting.kind", {"papers": [BAND_F], "letting": {}}),
    ("ew_mees", "registered", {"papers": [BAND_F, EXEMPT | {"exemption": "consent"}]}),
    ("ew_mees", "exemption", {"papers": [BAND_F, EXEMPT | {"registered": "2025-01-06"}]}),
    ("eng_alarms", "landlord", {"alarms": [], "landlord": None}),
    (
        "eng_alarms",
        "hmo.additional_licensing_area",
        {"alarms": [], "hmo": AREA_UNSAID, "occupancy": {"persons": 3}},
    ),
    ("eng_hmo_licence", "occupancy.persons", {"occupancy": SHARED | {"persons": None}} | HOUSE),
    ("eng_hmo_licence", "occupancy.households", {"occupancy": SHARED | {"households": None}} | HOUSE),
    ("eng_hmo_licence", "dwelling", {"occupancy": SHARED, "dwelling": None}),
    ("eng_hmo_licence", "purpose_built", {"occupancy": SHARED, "building": {"purpose_built": None}}),
    (
        "eng_hmo_licence",
        "self_contained_units",
        {"occupancy": SHARED, "building": {"self_contained_units": None}},
    ),
    ("eng_hmo_licence", "landlord", {"occupancy": SHARED, "landlord": None} | HOUSE),
    ("eng_hmo_licence", "landlord", {"hmo": SELECTIVE, "landlord": None}),
    (
        "eng_hmo_licence",
        "hmo.additional_licensing_area",
        {"occupancy": SHARED | {"persons": 3}, "hmo": AREA_UNSAID},
    ),
    (
        "eng_hmo_licence",
        "occupancy.shares_amenities",
        {"occupancy": {"persons": 3, "households": 2}, "hmo": ADDITIONAL},
    ),
    ("eng_hmo_licence", "issued", {"occupancy": SHARED, "papers": [LICENCE]} | HOUSE),
]


@pytest.mark.parametrize(("requirement", "fact", "facts"), DECISIVE)
def test_a_fact_that_decides_a_faulty_home_makes_it_unknown(
    facts: Facts, requirement: str, fact: str
) -> None:
    answer = standing(TODAY, **facts)
    verdict = next(one for one in answer.requirements if one.id == requirement)
    assert verdict.state == "unknown"
    assert any(f"({fact})" in r.says for r in answer.let.bars if r.requirement == requirement)


HELD = {"papers": [LICENCE | {"issued": "2024-01-08"}]}


@pytest.mark.parametrize(
    ("requirement", "fact", "facts"),
    [
        ("eng_alarms", "landlord", {"landlord": None}),
        ("eng_alarms", "letting.kind", {"letting": {}}),
        ("eng_alarms", "occupancy.persons", {"occupancy": {"households": 1}} | HELD),
        ("eng_hmo_licence", "occupancy.persons", {"occupancy": {"households": 1}} | HELD),
        ("eng_hmo_licence", "occupancy.households", {"occupancy": {"persons": 2}} | HELD),
        ("eng_hmo_licence", "dwelling", {"occupancy": SHARED, "dwelling": None} | HELD),
        ("eng_hmo_licence", "landlord", {"occupancy": SHARED, "landlord": None} | HOUSE | HELD),
    ],
)
def test_whom_a_requirement_reaches_is_asked_even_where_all_is_in_order(
    requirement: str, fact: str, facts: Facts
) -> None:
    answer = standing(TODAY, **facts)
    verdict = next(one for one in answer.requirements if one.id == requirement)
    assert verdict.state == "unknown"
    said = [r.says for r in answer.let.bars if r.requirement == requirement]
    assert sum(f"({fact})" in one for one in said) == 1


def test_storeys_decide_only_while_the_law_counted_them() -> None:
    facts: Facts = {"occupancy": SHARED, "dwelling": "house", "building": {"storeys": None}}
    licence = [
        next(one.state for one in standing(day, **facts).requirements if one.id == "eng_hmo_licence")
        for day in (date(2018, 9, 30), date(2018, 10, 1))
    ]
    assert licence == ["unknown", "not_met"]


@pytest.mark.parametrize(
    ("facts", "fact"),
    [
        ({"papers": [NO_EPC, ORDER], "marketing": None}, "marketing"),
        ({"papers": [NO_EPC, ORDER], "marketing": [{"for": "sale"}]}, "marketing.from"),
        ({"papers": [NO_EPC, {"ref": "o", "kind": "epc_commission"}]}, "issued"),
    ],
)
def test_a_sale_on_an_ordered_certificate_needs_its_days(facts: Facts, fact: str) -> None:
    answer = standing(TODAY, **facts)
    assert not answer.sale.clear
    assert named(answer, fact)


def test_a_flat_with_nothing_recorded_bars_both() -> None:
    building, unit = home()
    answer = standing(TODAY, **{key: None for key in FLAT if key not in ("ref", "building")})
    assert (building.ref, unit.ref) == ("B", "F")
    assert not answer.let.clear
    assert not answer.sale.clear
    assert {r.kind for r in (*answer.let.bars, *answer.sale.bars)} == {"unknown"}


@pytest.mark.parametrize(
    ("kind", "day"), [("eicr", "inspected"), ("gas_safety_record", "inspected"), ("epc", "registered")]
)
def test_an_undated_paper_beside_a_good_one_might_be_the_latest(kind: str, day: str) -> None:
    papers = [paper for paper in FLAT["certificates"] if paper["kind"] == kind]
    answer = standing(TODAY, papers=[*papers, {"ref": "undated", "kind": kind}])
    assert any(r.of == "undated" and f"({day})" in r.says for r in answer.let.bars)


def test_two_missing_facts_are_both_named() -> None:
    answer = standing(TODAY, letting={}, papers=[{"ref": "e", "kind": "eicr", "inspected": "2024-03-01"}])
    assert named(answer, "letting.kind")
    assert named(answer, "outcome")
