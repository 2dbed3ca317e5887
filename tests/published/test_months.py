"""Our month arithmetic beside python-dateutil's, and where the two rightly differ."""

from datetime import date, timedelta

from dateutil.relativedelta import relativedelta
from dateutil.rrule import MONTHLY, rrule
from hypothesis import given
from hypothesis import strategies as st

from portfolio.law.dates import add_months, start_of_months_ending_with, within_days_of, years_beginning_with

DAY = timedelta(days=1)
days = st.dates(date(1950, 1, 1), date(2150, 12, 31))
months = st.integers(-600, 600)


@given(days, months)
def test_adding_months_agrees_with_relativedelta(day: date, number: int) -> None:
    """Both end on the same-numbered day, or on the last day of a month that has no such day."""
    assert add_months(day, number) == day + relativedelta(months=number)


@given(days, st.integers(1, 400))
def test_adding_days_agrees_with_relativedelta(day: date, number: int) -> None:
    assert within_days_of(day, number) == day + relativedelta(days=number)


@given(days, st.integers(1, 12))
def test_a_period_ending_with_a_day_agrees_with_relativedelta(day: date, number: int) -> None:
    assert start_of_months_ending_with(day, number) == day - relativedelta(months=number) + DAY


@given(days, st.integers(1, 20))
def test_years_beginning_with_a_day_differ_from_the_eve_only_on_29_february(day: date, years: int) -> None:
    """The naive "anniversary less a day" gives 27 February for a 29 February; the law gives the month's last day."""
    naive = day + relativedelta(years=years) - DAY
    leap_to_common = (day.month, day.day) == (2, 29) and (day + relativedelta(years=years)).day == 28
    assert years_beginning_with(day, years) == (naive + DAY if leap_to_common else naive)


def test_years_beginning_with_1_march_are_not_the_years_from_the_day_before() -> None:
    """Adding the years to the day before loses 29 February: 28 February 2023 + 5 years is not 29 February 2028."""
    assert date(2023, 3, 1) - DAY + relativedelta(years=5) == date(2028, 2, 28)
    assert years_beginning_with(date(2023, 3, 1), 5) == date(2028, 2, 29)


def test_repeated_months_stick_where_one_sum_does_not() -> None:
    """Kept anniversaries move from deadline to deadline: once on the 28th a chain stays there; one sum of 48 months
    from 29 February 2024 comes back to the 29th."""
    chain = date(2024, 2, 29)
    for _ in range(4):
        chain = add_months(chain, 12)
    assert chain == date(2028, 2, 28)
    assert (
        add_months(date(2024, 2, 29), 48) == date(2028, 2, 29) == date(2024, 2, 29) + relativedelta(months=48)
    )


def test_rrule_skips_the_months_that_have_no_such_day() -> None:
    """A calendar rule for "the 31st, monthly" leaves short months out. No legal period does."""
    skipped = [d.date() for d in rrule(MONTHLY, dtstart=date(2026, 1, 31), count=3)]
    assert skipped == [date(2026, 1, 31), date(2026, 3, 31), date(2026, 5, 31)]
    assert [add_months(date(2026, 1, 31), n) for n in range(3)] == [
        date(2026, 1, 31),
        date(2026, 2, 28),
        date(2026, 3, 31),
    ]
