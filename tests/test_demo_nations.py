"""The invented homes of four nations, and those that only the house policy bars."""

from datetime import date

import pytest

from portfolio.demo import scenario
from portfolio.law import model as law
from tests.test_demo_scenario import DAYS, TODAY, standings


def of_nation(nation: str) -> list[law.Standing]:
    told = scenario.agency_homes(TODAY).portfolio()
    there = {building.ref for building in told.buildings if building.nation == nation}
    return [standings(TODAY)[unit.ref] for unit in told.units if unit.building in there]


@pytest.mark.parametrize("nation", law.NATIONS)
def test_every_nation_has_a_home_that_can_be_let_and_one_that_cannot(nation: str) -> None:
    assert {standing.let.clear for standing in of_nation(nation)} == {True, False}


@pytest.mark.parametrize("nation", ["england", "scotland"])
@pytest.mark.parametrize("on", DAYS, ids=str)
def test_the_days_for_damp_run_in_one_home_and_are_not_over(nation: str, on: date) -> None:
    home, duty = {
        "england": ("BC-2", "eng_awaab_social.summary"),
        "scotland": ("LW-2-1", "sco_damp.investigate"),
    }[nation]
    states = {one.id: (one.state, one.due) for one in standings(on)[home].duties}
    state, due = states[duty]
    assert state is law.DutyState.OPEN
    assert due is not None
    assert due > on


@pytest.mark.parametrize("on", DAYS, ids=str)
def test_a_welsh_contract_began_without_its_written_statement(on: date) -> None:
    late = {one.id for one in standings(on)["HC"].duties if one.state is law.DutyState.LATE}
    assert late == {"wal_written_statement.give"}


def test_fire_doors_of_high_blocks_are_checked_but_for_one_flat() -> None:
    warned = {
        ref for ref, s in standings(TODAY).items()
        for reason in s.let.warnings if reason.requirement == "eng_fire_doors_11m"
    }  # fmt: skip
    assert warned == {"TW-2"}


def test_the_house_policy_bars_what_the_law_lets() -> None:
    only = {
        ref
        for ref, s in standings(TODAY).items()
        if s.let.bars and all(b.requirement.startswith("house_") for b in s.let.bars)
    }
    assert {"PL-18", "PL-30", "CB-8"} <= only
