"""Electrical papers where one home is seen in several nations, by several landlords or with several lettings."""

from datetime import date, timedelta
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from portfolio.law.model import NATIONS, Certificate, Standing
from portfolio.law.rules.electrical import last_good_day

from .homes import TODAY
from .nations import standing_in

NO_REPORT = [{"kind": "eicr"}]
NO_GAS = [{"kind": "gas_safety_record"}]
UNSAID = {"papers": [{"ref": "e", "kind": "eicr", "inspected": "2026-03-02"}]}
SHARED = {"persons": 3, "households": 3, "shares_amenities": True}
days = st.dates(date(2000, 1, 1), date(2090, 12, 31))


def let_of(granted: str) -> list[dict[str, Any]]:
    return [{"ref": "t", "granted": granted, "starts": granted}]


def warned(answer: Standing, requirement: str) -> set[str]:
    return {one.kind for one in answer.let.warnings if one.requirement == requirement}


@pytest.mark.parametrize(
    ("nation", "requirement", "granted", "free", "bound"),
    [
        ("england", "eng_eicr", "2020-05-31", date(2021, 3, 31), date(2021, 4, 1)),
        ("wales", "wal_eicr", "2022-11-30", date(2023, 11, 30), date(2023, 12, 1)),
        ("scotland", "sco_eicr", "2015-11-30", date(2016, 11, 30), date(2016, 12, 1)),
        ("northern_ireland", "ni_eicr", "2025-03-31", date(2025, 11, 30), date(2025, 12, 1)),
    ],
)
def test_an_older_letting_is_in_breach_only_from_the_day_it_was_brought_in(
    nation: str, requirement: str, granted: str, free: date, bound: date
) -> None:
    said = [
        warned(standing_in(nation, day, papers=NO_REPORT, tenancies=let_of(granted)), requirement)
        for day in (free, bound)
    ]
    assert said == [set(), {"missing"}]


@pytest.mark.parametrize(
    ("nation", "requirement", "granted", "first"),
    [
        ("england", "eng_eicr", "2020-06-01", date(2020, 7, 1)),
        ("wales", "wal_eicr", "2022-12-01", date(2022, 12, 1)),
        ("scotland", "sco_eicr", "2015-12-01", date(2015, 12, 1)),
        ("northern_ireland", "ni_eicr", "2025-04-01", date(2025, 4, 1)),
    ],
)
def test_one_granted_under_the_law_is_in_breach_from_its_first_day(
    nation: str, requirement: str, granted: str, first: date
) -> None:
    answer = standing_in(nation, first, papers=NO_REPORT, tenancies=let_of(granted))
    assert warned(answer, requirement) == {"missing"}


@pytest.mark.parametrize("persons", [2, 3])
@pytest.mark.parametrize("nation", NATIONS)
def test_a_failed_report_bars_however_many_live_there(nation: str, persons: int) -> None:
    """A shared home may come under another scheme, but it may not slip between the two."""
    licence = {"ref": "l", "kind": "hmo_licence", "issued": "2026-01-05", "until": "2028-01-04"}
    report = {"ref": "e", "kind": "eicr", "inspected": "2026-03-02", "outcome": "unsatisfactory"}
    people = SHARED | {"persons": persons, "households": persons}
    answer = standing_in(nation, papers=[report, licence], occupancy=people, dwelling="house")
    assert {"failed"} == {one.kind for one in answer.let.bars}


@pytest.mark.parametrize(
    ("nation", "requirement"), [("england", "eng_hmo_management"), ("wales", "wal_hmo_management")]
)
def test_an_old_test_of_a_shared_homes_wiring_is_warned_of(nation: str, requirement: str) -> None:
    old = {"ref": "e", "kind": "eicr", "inspected": "2021-11-24", "outcome": "satisfactory"}
    answer = standing_in(nation, papers=[old], occupancy=SHARED | {"households": 2}, dwelling="house")
    assert warned(answer, requirement) == {"lapsed"}
    assert requirement not in {one.requirement for one in answer.let.bars}


@pytest.mark.parametrize(
    ("nation", "requirement", "fact", "changes"),
    [
        ("wales", "wal_eicr", "certificates", {"certificates": None}),
        ("wales", "wal_eicr", "inspected", {"papers": [{"ref": "e", "kind": "eicr"}]}),
        ("wales", "house_failed_report", "outcome", UNSAID),
        ("wales", "wal_eicr", "landlord", {"landlord": None}),
        ("wales", "wal_eicr", "letting.kind", {"letting": {}}),
        ("scotland", "sco_eicr", "landlord", {"landlord": None}),
        ("scotland", "sco_pat", "landlord", {"landlord": None}),
        ("scotland", "sco_pat", "landlord_electrical_appliances", {"landlord_electrical_appliances": None}),
        ("scotland", "sco_pat", "inspected", {"papers": [{"ref": "a", "kind": "pat"}]}),
        ("scotland", "sco_pat", "outcome", {"papers": [{"ref": "a", "kind": "pat", "inspected": "2026-03-02"}]}),
        ("scotland", "sco_rcd", "main_board_rcd_30ma", {"main_board_rcd_30ma": None}),
        ("scotland", "sco_rcd", "landlord", {"landlord": None}),
        ("northern_ireland", "ni_eicr", "landlord", {"landlord": None}),
        ("northern_ireland", "ni_eicr", "defects", {"defects": None}),
        ("northern_ireland", "ni_eicr", "occupancy.persons", {"occupancy": {"households": 3}}),
        ("northern_ireland", "ni_hmo_wiring", "occupancy.households", {"occupancy": {"persons": 3}}),
        ("northern_ireland", "ni_hmo_wiring", "landlord", {"landlord": None, "occupancy": SHARED, "dwelling": "house"}),
        ("northern_ireland", "ni_gas_check", "appliances", {"appliances": None, "papers": NO_GAS}),
        ("northern_ireland", "ni_gas_check", "letting.kind", {"letting": {}}),
    ],
)  # fmt: skip
def test_a_fact_nobody_recorded_is_named_and_bars(
    nation: str, requirement: str, fact: str, changes: dict[str, Any]
) -> None:
    answer = standing_in(nation, **changes)
    verdict = next(one for one in answer.requirements if one.id == requirement)
    assert verdict.state == "unknown"
    assert any(f"({fact})" in one.says for one in answer.let.bars if one.requirement == requirement)


def test_a_home_with_no_landlord_on_record_is_asked_who_it_is_before_its_equipment() -> None:
    answer = standing_in("england", landlord=None)
    said = [one.says for one in answer.let.warnings if one.requirement == "eng_eicr_equipment_social"]
    assert len(said) == 1
    assert "(landlord)" in said[0]


def test_a_social_letting_of_before_is_in_breach_of_the_check_of_equipment_from_november_2026() -> None:
    facts: dict[str, Any] = {
        "landlord": "registered_provider",
        "papers": [{"kind": "pat"}],
        "tenancies": let_of("2020-02-03"),
    }
    said = [
        [
            one.says
            for one in standing_in("england", day, **facts).let.warnings
            if one.requirement == "eng_eicr_equipment_social"
        ]
        for day in (date(2026, 10, 31), date(2026, 11, 1))
    ]
    assert [len(one) for one in said] == [1, 2]


@given(
    day=days,
    years=st.integers(1, 10),
    sooner=st.none() | st.floats(0, 12),
    printed=st.none() | days,
    counts=st.booleans(),
)
def test_nothing_on_a_report_makes_it_last_longer(
    day: date, years: int, sooner: float | None, printed: date | None, counts: bool
) -> None:
    bare = Certificate("e", "eicr", inspected=day)
    full = Certificate("e", "eicr", inspected=day, next_within_years=sooner, until=printed)
    last = last_good_day(bare, years, counts)
    assert last_good_day(full, years, counts) <= last


@given(day=days, years=st.integers(1, 10))
def test_years_that_begin_with_the_day_end_one_day_sooner(day: date, years: int) -> None:
    """But for 29 February, which has no anniversary in most years and ends with the month either way."""
    bare = Certificate("e", "eicr", inspected=day)
    to_it, before_it = (last_good_day(bare, years, anniversary_counts=counts) for counts in (True, False))
    same = (day.month, day.day) == (2, 29) and (to_it.month, to_it.day) != (2, 29)
    assert to_it - before_it == timedelta(days=0 if same else 1)


def test_a_report_without_its_day_has_no_last_one() -> None:
    with pytest.raises(ValueError, match="no day of inspection"):
        last_good_day(Certificate("e", "eicr"), 5)


def test_all_is_well_in_every_nation_today() -> None:
    for nation in NATIONS:
        states = {one.id: one.state for one in standing_in(nation, TODAY).requirements}
        mine = [
            state for name, state in states.items() if name.endswith(("_eicr", "_pat", "_rcd", "gas_check"))
        ]
        assert set(mine) == {"met"}, nation
