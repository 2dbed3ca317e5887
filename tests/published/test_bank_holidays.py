"""The bank holidays held, beside published lists, a library, and the words of the Act worked out anew."""

import tomllib
from datetime import date, datetime, time, timedelta
from io import StringIO

import pytest
import time_machine
from dateutil.easter import easter
from dateutil.relativedelta import MO, relativedelta
from dateutil.rrule import DAILY, rrule, rruleset
from django.core.management import call_command
from hypothesis import given
from hypothesis import strategies as st

from portfolio.law.dates import working_days_after
from portfolio.law.home import Home
from portfolio.law.loader import PACKS, load
from portfolio.law.model import NATIONS
from portfolio.management.commands.bank_holidays import weekdays_off

from ..portfolio.law.homes import home

DAY = timedelta(days=1)
YEARS = range(2015, 2046)
HELD = {nation: pack.bank_holidays for nation in NATIONS for pack in load().packs if pack.name == nation}


def held(nation: str, year: int) -> list[str]:
    """Month and day of each bank holiday held for a year."""
    found = HELD[nation]
    assert found is not None
    return [f"{day:%m-%d}" for day in sorted(found.days) if day.year == year]


ENGLAND = {
    2024: "01-01 03-29 04-01 05-06 05-27 08-26 12-25 12-26",
    2025: "01-01 04-18 04-21 05-05 05-26 08-25 12-25 12-26",
    2026: "01-01 04-03 04-06 05-04 05-25 08-31 12-25 12-28",
    2027: "01-01 03-26 03-29 05-03 05-31 08-30 12-27 12-28",
}
PUBLISHED = {
    "england": ENGLAND,
    "wales": ENGLAND,
    "scotland": {
        2024: "01-01 01-02 03-29 05-06 05-27 08-05 12-02 12-25 12-26",
        2025: "01-01 01-02 04-18 05-05 05-26 08-04 12-01 12-25 12-26",
        2026: "01-01 01-02 04-03 05-04 05-25 06-15 08-03 11-30 12-25 12-28",
        2027: "01-01 01-04 03-26 05-03 05-31 08-02 11-30 12-27 12-28",
    },
    "northern_ireland": {
        2024: "01-01 03-18 03-29 04-01 05-06 05-27 07-12 08-26 12-25 12-26",
        2025: "01-01 03-17 04-18 04-21 05-05 05-26 07-14 08-25 12-25 12-26",
        2026: "01-01 03-17 04-03 04-06 05-04 05-25 07-13 08-31 12-25 12-28",
        2027: "01-01 03-17 03-26 03-29 05-03 05-31 07-12 08-30 12-27 12-28",
    },
}
"""https://www.gov.uk/bank-holidays, written down from memory; 15 June 2026 in Scotland was proclaimed for that year."""


@pytest.mark.parametrize("nation", NATIONS)
@pytest.mark.parametrize("year", [2024, 2025, 2026, 2027])
def test_the_days_held_are_those_published(nation: str, year: int) -> None:
    assert held(nation, year) == PUBLISHED[nation][year].split()


@pytest.mark.parametrize("nation", NATIONS)
def test_the_file_is_what_the_library_says_for_every_year(nation: str) -> None:
    found = HELD[nation]
    assert found is not None
    assert (found.first, found.last) == (YEARS[0], YEARS[-1])
    assert found.days == {day for year in YEARS for day in weekdays_off(nation, year)}


@pytest.mark.parametrize("nation", NATIONS)
@time_machine.travel("2026-11-25T12:00:00Z", tick=False)
def test_the_command_prints_the_file_that_is_held(nation: str) -> None:
    said = StringIO()
    call_command("bank_holidays", nation, stdout=said)
    assert said.getvalue() == (PACKS / nation / "bank_holidays.toml").read_text(encoding="utf-8")


def test_the_command_prints_the_years_it_is_asked_for() -> None:
    said = StringIO()
    call_command("bank_holidays", "scotland", "--from", "2026", "--to", "2027", stdout=said)
    assert list(tomllib.loads(said.getvalue())["days"]) == ["2026", "2027"]


def test_the_command_refuses_years_the_wrong_way_round() -> None:
    said = StringIO()
    with pytest.raises(SystemExit):
        call_command("bank_holidays", "wales", "--from", "2027", "--to", "2026", stderr=said)
    assert "earlier year first" in said.getvalue()


MOVED = {
    date(2020, 5, 4): date(2020, 5, 8),  # seventy-five years after the end of the war in Europe
    date(2022, 5, 30): date(2022, 6, 2),  # the Platinum Jubilee
}
PROCLAIMED = {date(2022, 6, 3), date(2022, 9, 19), date(2023, 5, 8)}
"""Moved or added throughout the kingdom for one year; from memory."""


def by_the_act(nation: str, year: int) -> set[date]:
    """Banking and Financial Dealings Act 1971, Sch 1, with the days that are proclaimed every year.

    Days in place of weekend ones are the next weekdays not already taken. Sch 1 para 2 was read in asp 2007/2 s.1
    (30 November) and in summaries; the rest is from memory.
    """
    scottish = nation == "scotland"
    fixed = [date(year, 1, 1), date(year, 12, 25), date(year, 12, 26)]
    fixed += [date(year, 1, 2), date(year, 11, 30)] if scottish else []
    fixed += [date(year, 3, 17), date(year, 7, 12)] if nation == "northern_ireland" else []
    first, last = {"weekday": MO(1), "day": 1}, {"weekday": MO(-1), "day": 31}
    base = date(year, 1, 1)
    found = {
        easter(year) - 2 * DAY,
        base + relativedelta(month=5, **first),
        base + relativedelta(month=5, **last),
        base + (relativedelta(month=8, **first) if scottish else relativedelta(month=8, **last)),
    }
    found |= set() if scottish else {easter(year) + DAY}
    found = {MOVED.get(day, day) for day in found}
    found |= {day for day in fixed if day.weekday() < 5}
    for day in sorted(day for day in fixed if day.weekday() > 4):
        while day.weekday() > 4 or day in found:
            day += DAY
        found.add(day)
    found |= {day for day in PROCLAIMED if day.year == year}
    return found | ({date(2026, 6, 15)} if scottish and year == 2026 else set())


@pytest.mark.parametrize("nation", NATIONS)
@pytest.mark.parametrize("year", YEARS)
def test_the_days_held_are_those_of_the_act(nation: str, year: int) -> None:
    assert held(nation, year) == [f"{day:%m-%d}" for day in sorted(by_the_act(nation, year))]


@given(st.sampled_from(NATIONS), st.dates(date(2015, 1, 1), date(2044, 12, 31)), st.integers(1, 60))
def test_working_days_agree_with_a_calendar_of_rules(nation: str, day: date, number: int) -> None:
    """dateutil steps from weekday to weekday and leaves the bank holidays out."""
    found = HELD[nation]
    assert found is not None
    rules = rruleset()
    start = day + DAY
    rules.rrule(rrule(DAILY, dtstart=start, until=day + timedelta(days=140), byweekday=range(5)))
    for off in found.days:
        if 0 <= (off - day).days <= 140:
            rules.exdate(datetime.combine(off, time()))
    counted = list(rules)
    assert working_days_after(day, number, found.days) == counted[number - 1].date()


@pytest.mark.parametrize(
    ("nation", "day", "number", "last"),
    [
        ("scotland", date(2026, 11, 25), 3, date(2026, 12, 1)),
        ("england", date(2026, 11, 25), 3, date(2026, 11, 30)),
        ("scotland", date(2026, 12, 23), 5, date(2027, 1, 5)),
        ("england", date(2026, 12, 23), 5, date(2027, 1, 4)),
        ("northern_ireland", date(2026, 7, 10), 1, date(2026, 7, 14)),
        ("wales", date(2027, 12, 24), 1, date(2027, 12, 29)),
        ("scotland", date(2027, 12, 31), 1, date(2028, 1, 5)),
        ("scotland", date(2026, 4, 2), 1, date(2026, 4, 6)),
        ("england", date(2026, 4, 2), 1, date(2026, 4, 7)),
    ],
)
def test_working_days_around_the_holidays_where_nations_differ(
    nation: str, day: date, number: int, last: date
) -> None:
    """Counted by hand from the lists above: St Andrew's Day, Christmas weeks, 13 July, Easter Monday."""
    facts = Home(*home(building={"nation": nation}))
    assert load().topics["house_danger"].working_days_after(facts, day, number) == last


@pytest.mark.parametrize(("day", "number"), [(date(2014, 12, 30), 3), (date(2045, 12, 20), 9)])
def test_a_count_that_leaves_the_years_held_has_no_answer(day: date, number: int) -> None:
    facts = Home(*home(building={"nation": "scotland"}))
    assert load().topics["house_danger"].working_days_after(facts, day, number) is None
