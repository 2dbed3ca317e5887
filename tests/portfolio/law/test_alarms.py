"""What cases kept as data cannot say of alarms: homes already let, and which room is meant."""

from datetime import date
from typing import Any

import pytest

from portfolio.law.model import Requirement, Standing, State

from .nations import ALARMS, TODAY, standing_in

OLD = [{"ref": "t", "granted": "2020-02-03", "starts": "2020-03-02"}]


def verdict(answer: Standing, requirement: str) -> Requirement:
    return next(one for one in answer.requirements if one.id == requirement)


def breaches(answer: Standing, requirement: str) -> list[str]:
    return [one.says for one in answer.let.warnings if one.requirement == requirement]


def alarms(*without: str) -> list[dict[str, Any]]:
    return [one for one in ALARMS if one["ref"] not in without]


@pytest.mark.parametrize(
    ("nation", "law", "last_day", "first_day"),
    [
        ("wales", "wal_alarms", date(2023, 11, 30), date(2023, 12, 1)),
        ("northern_ireland", "ni_alarms", date(2024, 11, 30), date(2024, 12, 1)),
    ],
)
def test_a_home_let_before_the_law_had_time_and_a_new_let_had_none(
    nation: str, law: str, last_day: date, first_day: date
) -> None:
    for day in (last_day, first_day):
        answer = standing_in(nation, day, alarms=alarms("s1"), tenancies=OLD)
        assert verdict(answer, law).state is State.NOT_MET
        assert bool(breaches(answer, law)) is (day == first_day)


@pytest.mark.parametrize(
    "tenancy",
    [
        {"ref": "t", "granted": "2022-12-01", "starts": "2022-12-10"},
        {"ref": "t", "starts": "2022-12-01"},
        {"ref": "t"},
    ],
)
def test_a_contract_of_the_first_day_or_of_no_known_day_had_no_time(tenancy: dict[str, str]) -> None:
    answer = standing_in("wales", date(2023, 11, 30), alarms=alarms("s1"), tenancies=[tenancy])
    assert breaches(answer, "wal_alarms")


def test_carbon_monoxide_alarms_had_no_time_in_wales() -> None:
    answer = standing_in("wales", date(2023, 11, 30), alarms=alarms("s1", "co"), tenancies=OLD)
    (said,) = breaches(answer, "wal_alarms")
    assert "carbon monoxide" in said


def test_one_of_two_living_rooms_has_to_have_an_alarm() -> None:
    rooms = [
        {"ref": "hall", "level": 0, "use": "hall"}, {"ref": "living", "level": 0, "use": "living"},
        {"ref": "parlour", "level": 0, "use": "living"}, {"ref": "kitchen", "level": 0, "use": "kitchen"},
        {"ref": "landing", "level": 1, "use": "landing"},
    ]  # fmt: skip
    with_one = standing_in("scotland", rooms=rooms)
    without = standing_in("scotland", rooms=rooms, alarms=alarms("s2"))
    assert verdict(with_one, "sco_alarms").state is State.MET
    assert [(bar.kind, bar.of) for bar in without.let.bars] == [("missing", "living")]


def test_an_alarm_in_no_known_room_may_be_the_one_in_the_hall() -> None:
    loose = [*alarms("s0"), ALARMS[0] | {"room": None}]
    answer = standing_in("scotland", alarms=loose)
    assert verdict(answer, "sco_alarms").state is State.UNKNOWN
    assert {bar.says for bar in answer.let.bars} == {
        "Not recorded: which room the alarm is in (alarms.room)."
    }


def test_what_is_missing_is_said_with_the_room_and_what_would_do() -> None:
    (bar,) = standing_in("scotland", alarms=alarms("h")).let.bars
    assert (bar.kind, bar.of) == ("missing", "kitchen")
    assert "heat alarm in the kitchen" in bar.says
    assert "linked" in bar.says


@pytest.mark.parametrize("nation", ["england", "wales", "scotland"])
def test_an_alarm_past_its_day_is_warned_of(nation: str) -> None:
    worn = [ALARMS[0] | {"replace_by": "2026-11-24"}, *ALARMS[1:]]
    answer = standing_in(nation, alarms=worn)
    assert answer.let.clear
    (warning,) = (one for one in answer.let.warnings if one.requirement.endswith("_alarms"))
    assert (warning.kind, warning.of, warning.since) == ("lapsed", "s0", TODAY)


@pytest.mark.parametrize("name", ["rooms", "alarms", "appliances"])
@pytest.mark.parametrize("nation", ["wales", "scotland", "northern_ireland"])
def test_a_list_nobody_recorded_is_named(nation: str, name: str) -> None:
    facts: dict[str, Any] = {name: None}
    if name == "rooms":  # what stands in a room cannot be recorded without it
        facts |= {"alarms": [], "appliances": [], "papers": [{"kind": "gas_safety_record"}]}
    elif name == "appliances":
        facts["papers"] = [{"kind": "gas_safety_record"}]
    answer = standing_in(nation, **facts)
    assert any(f"({name})" in bar.says for bar in answer.let.bars if bar.requirement.endswith("_alarms"))
