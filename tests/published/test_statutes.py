"""Days worked out from instruments and judgments by hand, each naming where it stands and how it was read."""

from datetime import date

import pytest

from portfolio.law.dates import (
    add_months,
    add_years,
    days_starting_with,
    start_of_months_ending_with,
    within_days_of,
    years_beginning_with,
)


def test_four_months_from_30_september_end_on_30_january() -> None:
    """Dodds v Walker [1981] 1 WLR 1027 (HL), on the corresponding-date rule; opening of the judgment seen."""
    assert add_months(date(1978, 9, 30), 4) == date(1979, 1, 30)


def test_a_month_is_a_calendar_month() -> None:
    """Interpretation Act 1978, s.5 and Sch 1. With no corresponding day, the month's last: from memory."""
    assert add_months(date(2026, 1, 31), 1) == date(2026, 2, 28)


@pytest.mark.parametrize(
    ("inspected", "work", "copy"),
    [
        (date(2026, 11, 2), date(2026, 11, 29), date(2026, 11, 30)),
        (date(2026, 2, 1), date(2026, 2, 28), date(2026, 3, 1)),
        (date(2024, 2, 2), date(2024, 2, 29), date(2024, 3, 1)),
    ],
)
def test_remedial_work_is_due_a_day_before_the_copy(inspected: date, work: date, copy: date) -> None:
    """SI 2020/312 reg 3(4), "28 days ... starting with the date of the inspection", and reg 3(3)(b), "within 28 days
    of the inspection"; read in a summary of the regulations as made."""
    assert days_starting_with(inspected, 28) == work
    assert within_days_of(inspected, 28) == copy


def test_the_council_has_its_copy_within_seven_days_of_asking() -> None:
    """SI 2020/312 reg 3(3)(c)."""
    assert within_days_of(date(2026, 11, 2), 7) == date(2026, 11, 9)


@pytest.mark.parametrize(
    ("checked", "deadline", "first"),
    [
        (date(2025, 2, 10), date(2026, 2, 10), date(2025, 12, 11)),
        (date(2024, 2, 29), date(2025, 2, 28), date(2024, 12, 29)),
        (date(2025, 8, 31), date(2026, 8, 31), date(2026, 7, 1)),
        (date(2025, 4, 30), date(2026, 4, 30), date(2026, 3, 1)),
    ],
)
def test_the_gas_deadline_and_the_two_months_that_end_with_it(
    checked: date, deadline: date, first: date
) -> None:
    """SI 1998/2451 reg 36A, "the period of 2 months ending with the deadline date"; full text from memory. That the
    window opens on the later day where there is no corresponding one is a reading."""
    assert add_months(checked, 12) == deadline
    assert start_of_months_ending_with(deadline, 2) == first


def test_an_energy_certificate_is_no_more_than_ten_years_old_on_its_anniversary() -> None:
    """SI 2007/991 reg 11(3) (seen), to the same effect as SI 2012/3118 (memory)."""
    assert add_years(date(2016, 11, 25), 10) == date(2026, 11, 25)


def test_seven_days_and_the_next_twenty_one_end_on_the_twenty_eighth() -> None:
    """SI 2012/3118 reg 7: 7 days starting with the first day on the market, then 21 more; inclusive start: memory."""
    assert days_starting_with(date(2026, 11, 25), 7) == date(2026, 12, 1)
    assert (
        days_starting_with(date(2026, 11, 25), 28)
        == date(2026, 12, 22)
        == within_days_of(date(2026, 12, 1), 21)
    )


def test_five_years_beginning_with_a_day_end_before_it_comes_round() -> None:
    """WSI 2022/6 reg 6 (revised text seen in part), "5 years beginning with": a day shorter than England's."""
    assert years_beginning_with(date(2021, 11, 25), 5) == date(2026, 11, 24)
    assert add_years(date(2021, 11, 25), 5) == date(2026, 11, 25)


def test_the_formula_an_instrument_states_for_itself() -> None:
    """SI 2018/1082 art 1.4 (seen): a period beginning with 29 February ends on the last day of the short month."""
    assert years_beginning_with(date(2024, 2, 29), 5) == date(2029, 2, 28)
