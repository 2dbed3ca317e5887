"""Invented homes, and the command that times the law over them."""

import re
from datetime import date

import pytest
from django.core.management import CommandError, call_command

from portfolio.exchange import generate, portfolio1
from portfolio.law.evaluate import evaluate
from portfolio.law.loader import load

DAY = date(2026, 11, 25)


def test_homes_are_valid_and_of_every_sort() -> None:
    portfolio = generate.portfolio(300, around=DAY)
    assert portfolio1.read(portfolio1.text(portfolio)) == portfolio
    standings = [evaluate(load(), building, unit, DAY) for building, unit in generate.homes(300, around=DAY)]
    assert 75 < sum(standing.let.clear for standing in standings) < 225
    barring = {bar.requirement for standing in standings for bar in standing.let.bars}
    assert barring >= {"eng_eicr", "gb_gas_check", "ew_epc", "eng_alarms", "eng_hmo_licence", "house_danger"}


def test_same_number_is_the_same_home() -> None:
    assert list(generate.homes(20, around=DAY))[15:] == list(generate.homes(5, around=DAY, first=15))


@pytest.mark.parametrize("options", [[], ["--processes", "2"], ["--profile"]])
def test_bench_counts_every_home(capsys: pytest.CaptureFixture[str], options: list[str]) -> None:
    call_command("bench_standing", "--units", "50", *options)
    out = capsys.readouterr().out
    counts = dict(re.findall(r"^(\w+ (?:clear|barred)): (\d+)$", out, re.MULTILINE))
    for purpose in ("let", "sale"):
        assert sum(int(count) for name, count in counts.items() if name.startswith(purpose)) == 50
    assert re.search(r"µs each", out)
    assert ("function calls" in out) == ("--profile" in options)


def test_bench_wants_a_whole_number() -> None:
    with pytest.raises(CommandError, match="at least 1"):
        call_command("bench_standing", "--units", "0")
