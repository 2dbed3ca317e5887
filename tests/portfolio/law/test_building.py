"""What cases kept as data cannot say of a building's papers: parts, remarks, and which facts are asked for."""

from datetime import date
from typing import Any

import pytest

from portfolio.law.home import Home
from portfolio.law.model import NATIONS, Building, Occupancy, Requirement, Standing, State, Unit
from portfolio.law.rules.scope import all_of, any_of, is_shared

from .homes import TODAY, standing
from .nations import standing_in

HIGH = {"common_parts": True, "top_storey_height_m": 12.5, "storeys": 5}
DOORS = [
    {"ref": "c", "kind": "fire_door_check_common", "inspected": "2026-08-26"},
    {"ref": "d", "kind": "fire_door_check_flat", "inspected": "2025-11-25"},
]


def verdict(answer: Standing, requirement: str) -> Requirement:
    return next(one for one in answer.requirements if one.id == requirement)


def warned(answer: Standing, requirement: str) -> list[tuple[str, str | None, str]]:
    return [(one.kind, one.of, one.says) for one in answer.let.warnings if one.requirement == requirement]


def test_each_check_of_fire_doors_is_a_part_with_its_own_day() -> None:
    parts = verdict(standing(building=HIGH, papers=DOORS), "eng_fire_doors_11m").parts
    assert [(part.of, part.state, part.due) for part in parts] == [
        ("c", State.MET, date(2026, 11, 26)),
        ("d", State.MET, date(2026, 11, 25)),
    ]
    missing = verdict(standing(building=HIGH, papers=DOORS[1:]), "eng_fire_doors_11m").parts
    assert [(part.of, part.state, part.certificate) for part in missing] == [
        ("fire_door_check_common", State.NOT_MET, None),
        ("d", State.MET, "d"),
    ]


def test_a_check_overdue_says_which_and_since_when() -> None:
    answer = standing(date(2026, 11, 26), building=HIGH, papers=DOORS)
    ((kind, of, says),) = warned(answer, "eng_fire_doors_11m")
    assert (kind, of) == ("lapsed", "d")
    assert "entrance door of the flat" in says
    assert "25 November 2026" in says
    (warning,) = (one for one in answer.let.warnings if one.requirement == "eng_fire_doors_11m")
    assert warning.since == date(2026, 11, 26)


@pytest.mark.parametrize(
    ("paper", "day", "last"),
    [
        ({"inspected": "2024-11-25"}, date(2026, 11, 26), "2026-11-25"),
        ({"inspected": "2024-02-29"}, date(2026, 3, 1), "2026-02-28"),
        ({"issued": "2026-06-01", "until": "2026-10-01"}, date(2026, 10, 2), "2026-10-01"),
    ],
)
def test_a_water_assessment_never_runs_out_and_is_worth_a_look_in_time(
    paper: dict[str, str], day: date, last: str
) -> None:
    held = {"ref": "w", "kind": "legionella_assessment"} | paper
    before = standing(date.fromisoformat(last), papers=[held])
    assert verdict(before, "gb_legionella").remarks == ()
    assert before.changes_on == day
    found = verdict(standing(day, papers=[held]), "gb_legionella")
    assert (found.state, found.due, found.let) == (State.MET, None, "info")
    assert [(one.kind, one.of, one.since) for one in found.remarks] == [("review", "w", day)]


def test_a_water_assessment_on_record_does_though_another_has_no_day() -> None:
    papers = [
        {"ref": "w", "kind": "legionella_assessment", "inspected": "2026-06-01"},
        {"ref": "v", "kind": "legionella_assessment"},
    ]
    assert verdict(standing(papers=papers), "gb_legionella").state is State.MET
    alone = verdict(standing(papers=papers[1:]), "gb_legionella")
    assert (alone.state, [one.kind for one in alone.remarks]) == (State.UNKNOWN, ["unknown"])


def test_what_is_only_information_neither_bars_nor_warns() -> None:
    answer = standing(building=HIGH | {"top_storey_height_m": 20.0}, papers=[])
    for requirement in ("gb_legionella", "eng_residential_peeps"):
        found = verdict(answer, requirement)
        assert (found.state, [one.kind for one in found.remarks]) == (State.NOT_MET, ["missing"])
        assert warned(answer, requirement) == []
    assert answer.let.clear


@pytest.mark.parametrize(
    ("requirement", "building", "facts"),
    [
        ("eng_fra", {"common_parts": None}, {"common_parts"}),
        ("gb_asbestos_common_parts", {"common_parts": None}, {"common_parts"}),
        (
            "gb_asbestos_common_parts",
            {"common_parts": None, "year_built": None},
            {"common_parts", "year_built"},
        ),
        ("gb_asbestos_common_parts", {"common_parts": True, "year_built": None}, {"year_built"}),
        ("eng_fire_doors_11m", HIGH | {"top_storey_height_m": None}, {"top_storey_height_m"}),
        ("eng_fire_doors_11m", HIGH | {"common_parts": None}, {"common_parts"}),
        (
            "eng_residential_peeps",
            HIGH | {"storeys": None},
            {"storeys", "simultaneous_evacuation"},
        ),
        (
            "eng_residential_peeps",
            HIGH | {"top_storey_height_m": None, "simultaneous_evacuation": True},
            {"top_storey_height_m"},
        ),
        ("gb_lift_loler", {"common_parts": True}, {"passenger_lift"}),
    ],
)
def test_only_facts_that_decide_are_asked_for(
    requirement: str, building: dict[str, Any], facts: set[str]
) -> None:
    answer = standing(building=building)
    found = verdict(answer, requirement)
    said = [*found.remarks, *(one for one in answer.let.warnings if one.requirement == requirement)]
    assert found.state is State.UNKNOWN
    assert {one.says.rpartition("(")[2].rstrip(").") for one in said} == facts
    assert answer.let.clear


def test_a_shared_house_with_a_number_missing_is_asked_for_that_number() -> None:
    people = {"persons": 3, "shares_amenities": True}
    answer = standing(dwelling="house", building={"common_parts": None}, occupancy=people)
    assert [says for _, _, says in warned(answer, "eng_fra")] == [
        "Not recorded: how many households they make up (occupancy.households)."
    ]


def test_a_lift_for_residents_is_said_to_be_recommended_only() -> None:
    lift = {"common_parts": True, "passenger_lift": True}
    sources = [
        one.source
        for at_work in (True, False)
        for one in standing(building=lift | {"lift_used_at_work": at_work}).let.warnings
        if one.requirement == "gb_lift_loler"
    ]
    required, recommended = sources
    assert "recommended" not in required
    assert "recommended" in recommended


@pytest.mark.parametrize("requirement", ["gb_emergency_lighting", "gb_fire_alarm_service"])
def test_intervals_of_standards_are_not_passed_off_as_statute(requirement: str) -> None:
    ((_, _, _),) = warned(standing(building={"common_parts": True}), requirement)
    found = verdict(standing(building={"common_parts": True}), requirement)
    assert "not statute" in found.source
    assert found.source.startswith("BS ")


@pytest.mark.parametrize("nation", NATIONS)
def test_papers_of_a_building_bar_neither_a_let_nor_a_sale(nation: str) -> None:
    kinds = (
        "fire_risk_assessment", "asbestos_register", "emergency_lighting_test", "fire_alarm_service",
        "legionella_assessment",
    )  # fmt: skip
    answer = standing_in(
        nation, TODAY, papers=[{"kind": kind} for kind in kinds], building={"passenger_lift": True}
    )
    assert answer.let.clear
    assert answer.sale.clear
    assert [one.kind for one in answer.let.warnings if one.requirement.endswith(("lift", "loler"))] == [
        "missing"
    ]


def test_three_valued_answers_and_shared_homes() -> None:
    assert (all_of(True, None), all_of(False, None), all_of(True, True)) == (None, False, True)
    assert (any_of(False, None), any_of(True, None), any_of(False, False)) == (None, True, False)

    def shared(persons: int | None, households: int | None, sharing: bool | None) -> bool | None:
        return is_shared(
            Home(Building("B"), Unit("U", "B", occupancy=Occupancy(persons, households, sharing)))
        )

    assert shared(3, 2, True) is True
    assert shared(2, 2, True) is False
    assert shared(3, 1, None) is False
    assert shared(3, 2, None) is None
    assert shared(None, 2, True) is None
