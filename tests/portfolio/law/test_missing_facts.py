"""A fact nobody recorded never helps: it is named, or it could not have changed the result."""

from collections.abc import Iterable
from copy import deepcopy
from datetime import date
from typing import Any

import pytest

from portfolio.law.model import NATIONS, Reason, Standing, State

from .homes import FLAT, TODAY, home, standing
from .nations import COMPLETE, PLACE

Facts = dict[str, Any]
SHARED = {"persons": 5, "households": 3, "shares_amenities": True}
BAND_F = {"ref": "p", "kind": "epc", "registered": "2020-09-10", "until": "2030-09-09", "rating": "F"}
NO_EPC = {"kind": "epc"}
ORDER = {"ref": "o", "kind": "epc_commission", "issued": "2026-11-20"}


def each(name: str, numbers: Iterable[int], facts: tuple[str, ...]) -> tuple[str, ...]:
    """The same facts of several records of a list."""
    return tuple(f"{name}.{number}.{fact}" for number in numbers for fact in facts)


OUTSIDE_ENGLAND_WALES = ("scotland", "northern_ireland")
ALARM_FACTS = ("kind", "room", "power", "interlinked", "working", "replace_by")
HARMLESS: list[tuple[str, tuple[str, ...], tuple[str, ...]]] = [
    (
        "it only says which home this is",
        NATIONS, ("building.name", "building.address", "building.postcode", "unit.label"),
    ),
    (
        "one household shares with nobody, and two people are too few for any licence",
        NATIONS,
        (
            "unit.occupancy.shares_amenities", "unit.hmo.additional_licensing_area", "building.purpose_built",
            "building.self_contained_units",
        ),
    ),
    ("storeys decide only for five people", ("wales", *OUTSIDE_ENGLAND_WALES), ("building.storeys",)),
    ("no council licenses all lets there", OUTSIDE_ENGLAND_WALES, ("unit.hmo.selective_licensing_area",)),
    ("every paper is at hand, and nothing is owed for a grant there", ("scotland",), ("unit.tenancies",)),
    ("a certificate is at hand, so no day of marketing counts", NATIONS, ("unit.marketing",)),
    ("there is no lift to use at work", NATIONS, ("building.lift_used_at_work",)),
    ("a building of two storeys is not eleven metres high", NATIONS, ("building.top_storey_height_m",)),
    ("how people leave decides only above eleven metres", NATIONS, ("building.simultaneous_evacuation",)),
    ("it is taken to be the landlord's", NATIONS, ("unit.appliances.0.owner",)),
    ("its checks are known, so the day it was fitted is not needed", NATIONS, ("unit.appliances.0.installed",)),
    ("the hall's storey has its alarm by the other room's", ("england",), ("unit.rooms.0.level",)),
    ("storeys are covered whatever their rooms are", ("england", "wales"), each("unit.rooms", range(5), ("use",))),
    ("alarms go by the use of a room there", OUTSIDE_ENGLAND_WALES, each("unit.rooms", range(5), ("level",))),
    (
        "hall and living room are on one storey, and either alarm does; a heat alarm is not asked for",
        ("england", "wales"), each("unit.alarms", (0, 2, 3), ALARM_FACTS),
    ),
    ("any power does, and none need be linked", ("england",), each("unit.alarms", (1, 4), ("power", "interlinked"))),
    (
        "a carbon monoxide alarm stands alone and may be on any power",
        ("wales", *OUTSIDE_ENGLAND_WALES), each("unit.alarms", (4,), ("power", "interlinked")),
    ),
    ("an alarm without a printed last day has none", NATIONS, each("unit.alarms", range(5), ("replace_by",))),
    (
        "a paper without a printed last day lasts as long as such papers may",
        NATIONS, each("unit.certificates", (2, 6), ("until",)),
    ),
    (
        "and so does a registration", NATIONS, ("unit.certificates.4.until",),
    ),
    ("no band is asked for", OUTSIDE_ENGLAND_WALES, ("unit.certificates.2.rating",)),
    (
        "the landlord's own appliances are asked about in Scotland only",
        ("england", "wales", "northern_ireland"),
        (
            "unit.landlord_electrical_appliances", "unit.main_board_rcd_30ma", "unit.certificates.3.inspected",
            "unit.certificates.3.outcome",
        ),
    ),
    ("no register of landlords is in force", ("england",), ("unit.certificates.4.issued",)),
    (
        "home reports are Scottish",
        ("england", "wales", "northern_ireland"), ("unit.certificates.5.inspected",),
    ),
    ("no fire risk assessment is asked of it there", OUTSIDE_ENGLAND_WALES, ("unit.certificates.6.inspected",)),
    (
        "those standards are not asked there",
        ("northern_ireland",), each("unit.certificates", (8, 9, 10), ("inspected",)),
    ),
]  # fmt: skip
"""Facts of the complete home that could not change its result where they stand: why, in which nations, and which."""

WARNED: list[tuple[str, tuple[str, ...], tuple[str, ...]]] = [
    (
        "what the shared parts need is only warned of",
        NATIONS,
        (
            "building.year_built", "building.common_parts", "building.passenger_lift",
            "unit.certificates.7.inspected",
        ),
    ),
    ("seven storeys would ask for evacuation plans, which are not a bar", ("england",), ("building.storeys",)),
    ("papers of shared parts, only warned of", ("england", "wales"), ("unit.certificates.6.inspected",)),
    (
        "papers of shared parts and of the water, only warned of or remarked",
        ("england", "wales", "scotland"), each("unit.certificates", (8, 9, 10), ("inspected",)),
    ),
    ("an unregistered landlord is warned of", ("wales",), ("unit.certificates.4.issued",)),
    ("what happened decides duties and remarks, no bar", NATIONS, ("unit.events",)),
    (
        "what is owed for each tenancy bars nothing",
        ("england", "wales", "northern_ireland"), ("unit.tenancies",),
    ),
]  # fmt: skip
"""Facts that are asked for, but by nothing that bars."""


def listed(table: list[tuple[str, tuple[str, ...], tuple[str, ...]]]) -> list[tuple[str, str]]:
    """Nation and path of every row, once each."""
    found = [(nation, path) for _, nations, rows in table for nation in nations for path in rows]
    return sorted(set(found))


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


def without(nation: str, path: str) -> Standing:
    """The complete home in a nation, with one fact not recorded."""
    tree = {"building": deepcopy(PLACE) | {"nation": nation}, "unit": deepcopy(COMPLETE)}
    *steps, last = path.split(".")
    place: Any = tree
    for step in steps:
        place = place[int(step)] if isinstance(place, list) else place[step]
    place[last] = None
    facts = {key: value for key, value in tree["unit"].items() if key not in ("ref", "building")}
    return standing(TODAY, building=tree["building"], **facts)


EVERY = [
    (nation, path)
    for nation in NATIONS
    for path in paths(PLACE, "building") + paths(COMPLETE, "unit")
    if not is_required(path)
]


def named(reasons: Iterable[Reason], fact: str) -> bool:
    """Does some reason say that this very fact is not recorded?"""
    return any(
        r.kind == "unknown" and f"({fact})" in r.says and r.cure.startswith("Record ") for r in reasons
    )


def bars(answer: Standing) -> tuple[Reason, ...]:
    return (*answer.let.bars, *answer.sale.bars)


def asides(answer: Standing) -> tuple[Reason, ...]:
    remarks = (remark for one in answer.requirements for remark in one.remarks)
    return (*answer.let.warnings, *answer.sale.warnings, *remarks)


def field_of(path: str) -> str:
    """What a reason calls the fact: rooms, alarms and appliances by list and field, the rest by field."""
    steps = [step for step in path.split(".")[1:] if not step.isdigit()]
    if steps[0] == "certificates":
        steps = steps[-2:] if steps[-1] == "result" else steps[-1:]
    return ".".join(steps)


def test_every_fact_is_barred_warned_of_or_harmless_and_none_of_them_twice() -> None:
    harmless, warned = set(listed(HARMLESS)), set(listed(WARNED))
    assert harmless | warned <= set(EVERY)
    assert not harmless & warned


@pytest.mark.parametrize(
    ("nation", "path"), [one for one in EVERY if one not in listed(HARMLESS) + listed(WARNED)]
)
def test_a_fact_missing_from_a_complete_home_is_named_and_bars(nation: str, path: str) -> None:
    answer = without(nation, path)
    assert not (answer.let.clear and answer.sale.clear)
    assert named(bars(answer), field_of(path)), [r.says for r in bars(answer)]


@pytest.mark.parametrize(("nation", "path"), listed(WARNED))
def test_a_fact_that_only_a_warning_needs_is_named_and_bars_nothing(nation: str, path: str) -> None:
    answer = without(nation, path)
    assert bars(answer) == ()
    assert named(asides(answer), field_of(path)), [r.says for r in asides(answer)]


@pytest.mark.parametrize(("nation", "path"), listed(HARMLESS))
def test_a_fact_that_could_not_change_the_result_is_not_asked_for(nation: str, path: str) -> None:
    answer = without(nation, path)
    assert bars(answer) == ()
    assert not named(asides(answer), field_of(path))
    assert {one.state for one in answer.requirements} <= {State.MET, State.NOT_APPLICABLE}


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
    assert named(bars(answer), fact)


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
    assert named(bars(answer), "letting.kind")
    assert named(bars(answer), "outcome")
