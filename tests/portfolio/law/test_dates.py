"""Counting days as the law counts them: each rule with its edge, month ends and 29 February."""

from datetime import date, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from portfolio.law.dates import (
    AsOn,
    add_months,
    add_years,
    day_after,
    days_starting_with,
    start_of_months_ending_with,
    within_days_of,
    working_days_after,
    years_beginning_with,
)

DAY = timedelta(days=1)
days = st.dates(date(1900, 1, 1), date(2200, 12, 31))


@pytest.mark.parametrize(
    ("day", "months", "end"),
    [
        (date(2025, 9, 30), 4, date(2026, 1, 30)),
        (date(2025, 8, 31), 6, date(2026, 2, 28)),
        (date(2027, 8, 31), 6, date(2028, 2, 29)),
        (date(2024, 2, 29), 12, date(2025, 2, 28)),
        (date(2024, 2, 29), 48, date(2028, 2, 29)),
        (date(2025, 2, 28), 12, date(2026, 2, 28)),
        (date(2023, 2, 28), 12, date(2024, 2, 28)),
        (date(2026, 1, 15), -2, date(2025, 11, 15)),
        (date(2026, 4, 30), -2, date(2026, 2, 28)),
        (date(9999, 6, 1), 12, date.max),
    ],
)
def test_months_end_on_the_same_number_or_the_months_last_day(day: date, months: int, end: date) -> None:
    assert add_months(day, months) == end


@given(days, st.integers(0, 240), st.integers(0, 240))
def test_more_months_never_end_sooner(day: date, few: int, more: int) -> None:
    assert add_months(day, few) <= add_months(day, few + more)


@pytest.mark.parametrize(
    ("day", "last"),
    [
        (date(2021, 11, 25), date(2026, 11, 24)),
        (date(2021, 3, 1), date(2026, 2, 28)),
        (date(2019, 3, 1), date(2024, 2, 29)),
        (date(2024, 2, 29), date(2029, 2, 28)),
        (date(2023, 2, 28), date(2028, 2, 27)),
    ],
)
def test_five_years_beginning_with_a_day_end_before_the_anniversary(day: date, last: date) -> None:
    assert years_beginning_with(day, 5) == last


def test_within_leaves_the_day_out_and_starting_with_counts_it() -> None:
    assert within_days_of(date(2026, 11, 2), 28) == date(2026, 11, 30)
    assert days_starting_with(date(2026, 11, 2), 28) == date(2026, 11, 29)
    assert days_starting_with(date(2026, 11, 2), 1) == date(2026, 11, 2)
    assert within_days_of(date.max - DAY, 28) == date.max


@pytest.mark.parametrize(
    ("last", "first"),
    [
        (date(2026, 2, 10), date(2025, 12, 11)),
        (date(2026, 8, 31), date(2026, 7, 1)),
        (date(2026, 4, 30), date(2026, 3, 1)),
        (date(2026, 4, 28), date(2026, 3, 1)),
        (date(2028, 4, 29), date(2028, 3, 1)),
        (date(2026, 2, 28), date(2025, 12, 29)),
    ],
)
def test_two_months_ending_with_a_day_begin_the_day_after_the_same_number(last: date, first: date) -> None:
    assert start_of_months_ending_with(last, 2) == first


def test_working_days_skip_the_weekend_and_the_nations_holidays() -> None:
    st_andrew = {date(2026, 11, 30)}
    assert working_days_after(date(2026, 11, 9), 10, ()) == date(2026, 11, 23)
    assert working_days_after(date(2026, 11, 27), 1, ()) == date(2026, 11, 30)
    assert working_days_after(date(2026, 11, 27), 1, st_andrew) == date(2026, 12, 1)
    assert working_days_after(date(2026, 11, 28), 1, ()) == date(2026, 11, 30)


def test_the_end_of_the_calendar_has_no_day_after() -> None:
    assert day_after(date.max) is None
    assert day_after(date.max - DAY) == date.max


@given(days, days)
def test_a_day_is_reached_from_itself_on_and_passed_from_the_next(on: date, day: date) -> None:
    asked = AsOn(on)
    assert asked.reached(day) == (on >= day)
    assert asked.turns == (None if on >= day else day)
    asked = AsOn(on)
    assert asked.passed(day) == (on > day)
    assert asked.turns == (None if on > day else day + DAY)


@given(days, st.lists(st.tuples(st.booleans(), days), max_size=6))
def test_no_answer_flips_before_the_turning_day_and_one_flips_on_it(
    on: date, asks: list[tuple[bool, date]]
) -> None:
    def answers(day: date) -> tuple[list[bool], date | None]:
        asked = AsOn(day)
        return [asked.reached(d) if reach else asked.passed(d) for reach, d in asks], asked.turns

    said, turns = answers(on)
    if turns is None:
        assert answers(date.max)[0] == said
    else:
        assert answers(turns - DAY)[0] == said
        assert answers(turns)[0] != said


def test_the_last_day_of_the_calendar_is_never_passed() -> None:
    asked = AsOn(date(2026, 11, 25))
    assert not asked.passed(date.max)
    assert asked.turns is None


def test_years_are_twelve_months() -> None:
    assert add_years(date(2024, 2, 29), 5) == date(2029, 2, 28)
