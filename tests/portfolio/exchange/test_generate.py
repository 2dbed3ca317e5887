"""Invented homes, and the command that times the law over them."""

import re
from datetime import date
from typing import NamedTuple

import pytest
from django.core.management import CommandError, call_command

from portfolio.exchange import generate, portfolio1
from portfolio.law.evaluate import evaluate
from portfolio.law.loader import load
from portfolio.law.model import NATIONS, Standing, State

DAY = date(2026, 11, 25)
MANY = 800


class Asked(NamedTuple):
    """A home, what the law says of it, and what it says of the same home in order."""

    home: generate.Home
    is_amiss: bool
    standing: Standing
    in_order: Standing


@pytest.fixture(scope="module")
def mixed() -> list[Asked]:
    found = []
    for number, home in enumerate(generate.homes(MANY, around=DAY)):
        sound = generate.in_order(number, around=DAY)
        standing = evaluate(load(), *home, DAY)
        in_order = evaluate(load(), *sound, DAY) if home != sound else standing
        found.append(Asked(home, home != sound, standing, in_order))
    return found


def _of(mixed: list[Asked], nation: str) -> list[Asked]:
    return [one for one in mixed if one.home[0].nation == nation]


def test_homes_are_valid() -> None:
    portfolio = generate.portfolio(300, around=DAY)
    assert portfolio1.read(portfolio1.text(portfolio)) == portfolio


def test_same_number_is_the_same_home() -> None:
    assert list(generate.homes(20, around=DAY))[15:] == list(generate.homes(5, around=DAY, first=15))


def test_homes_are_of_every_nation_and_sort(mixed: list[Asked]) -> None:
    for nation, share in generate.NATIONS.items():
        assert share - 4 <= 100 * len(_of(mixed, nation)) / MANY <= share + 4
        units = [one.home[1] for one in _of(mixed, nation)]
        sorts = {(unit.landlord, unit.dwelling, unit.occupancy.persons == 5) for unit in units}
        assert sorts >= {
            ("private", "house", False),
            ("private", "flat", False),
            ("private", "house", True),
            ("registered_provider", "flat", False),
            ("private", "room", True),
        }


@pytest.mark.parametrize("nation", NATIONS)
def test_home_in_order_is_clear_and_nothing_of_it_unknown(mixed: list[Asked], nation: str) -> None:
    assert len(_of(mixed, nation)) > 50
    for *_, standing in _of(mixed, nation):
        assert not standing.let.bars + standing.sale.bars, standing.ref
        assert State.UNKNOWN not in {one.state for one in standing.requirements}, standing.ref


@pytest.mark.parametrize("nation", NATIONS)
def test_half_are_amiss_each_of_those_is_barred_and_a_third_of_them_unknown(
    mixed: list[Asked], nation: str
) -> None:
    mine = _of(mixed, nation)
    for one in mine:
        assert one.standing.let.clear is not one.is_amiss, one.standing.ref
    amiss = [one.standing for one in mine if one.is_amiss]
    assert 0.4 < len(amiss) / len(mine) < 0.6
    unknown = [one for one in amiss if any(bar.kind == "unknown" for bar in one.let.bars)]
    assert 0.2 < len(unknown) / len(amiss) < 0.6


def test_every_barring_paper_and_fact_is_amiss_somewhere(mixed: list[Asked]) -> None:
    barring = {bar.requirement for one in mixed for bar in one.standing.let.bars}
    assert barring >= {
        "eng_eicr", "eng_alarms", "eng_hmo_licence", "wal_eicr", "wal_alarms", "sco_eicr", "sco_alarms",
        "sco_registration", "ni_eicr", "ni_alarms", "ni_registration", "ew_epc", "gb_gas_check", "house_danger",
    }  # fmt: skip


@pytest.mark.parametrize("options", [[], ["--processes", "2"], ["--profile"]])
def test_bench_counts_every_home(capsys: pytest.CaptureFixture[str], options: list[str]) -> None:
    call_command("bench_standing", "--units", "50", *options)
    out = capsys.readouterr().out
    counts = dict(re.findall(r"^(\w+ (?:clear|barred)): (\d+)$", out, re.MULTILINE))
    for purpose in ("let", "sale"):
        assert sum(int(count) for name, count in counts.items() if name.startswith(purpose)) == 50
    assert re.search(r"µs each", out)
    assert ("heaviest functions" in out) == ("--profile" in options)


def test_profile_names_functions_and_shares_of_requirements(capsys: pytest.CaptureFixture[str]) -> None:
    call_command("bench_standing", "--units", "50", "--profile")
    out = capsys.readouterr().out
    functions = re.findall(r"^ +\d+\.\d%  +\d+  (\S.*)$", out, re.MULTILINE)
    assert len(functions) == 12
    assert any(re.fullmatch(r"law/evaluate\.py:\d+ hear", one) for one in functions)
    shares = re.findall(r"^ +(-?\d+\.\d)% +-?\d+\.\d µs +(?:\d+\.\d\d)?  +(\w+) ", out, re.MULTILINE)
    assert 95 < sum(float(share) for share, _ in shares) < 105
    assert {"house_danger", "eng_eicr", "gb_gas_check", "sco_alarms"} <= {name for _, name in shares}


def test_bench_wants_a_whole_number() -> None:
    with pytest.raises(CommandError, match="at least 1"):
        call_command("bench_standing", "--units", "0")
