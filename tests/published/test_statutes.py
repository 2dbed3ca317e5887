"""Days worked out from instruments and judgments by hand, each naming where it stands and how it was read."""

from datetime import date

import pytest

from portfolio.law.dates import (
    add_months,
    add_years,
    days_starting_with,
    start_of_months_ending_with,
    within_days_of,
    working_days_after,
    years_beginning_with,
)
from portfolio.law.loader import load

DAYS_OFF = {pack.name: pack.bank_holidays.days for pack in load().packs if pack.bank_holidays}


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


@pytest.mark.parametrize(
    ("told", "investigated", "summary", "begun"),
    [
        (date(2026, 11, 9), date(2026, 11, 23), date(2026, 11, 26), date(2026, 12, 1)),
        (date(2026, 11, 14), date(2026, 11, 27), date(2026, 12, 3), date(2026, 12, 7)),
        (date(2026, 12, 18), date(2027, 1, 7), date(2027, 1, 12), date(2027, 1, 14)),
    ],
)
def test_scottish_working_days_begin_with_the_day_after(
    told: date, investigated: date, summary: date, begun: date
) -> None:
    """Housing (Scotland) Act 2006 s.14(6)-(8) (SSI 2026/173 reg 3, seen): 10, 3 and 5 working days, each beginning with
    the day after. A report on a Saturday counts from Monday. That bank holidays are no working days is from memory."""
    off = DAYS_OFF["scotland"]
    assert working_days_after(told, 10, off) == investigated
    assert working_days_after(investigated, 3, off) == summary
    assert working_days_after(investigated, 5, off) == begun


def test_english_social_landlords_have_working_days_and_weeks() -> None:
    """SI 2025/1042 (periods seen in summaries; how days are counted, memory): 10, 3, 5 working days and 12 weeks."""
    told, ended, off = date(2026, 11, 6), date(2026, 11, 20), DAYS_OFF["england"]
    assert working_days_after(told, 10, off) == ended
    assert working_days_after(ended, 3, off) == date(2026, 11, 25)
    assert working_days_after(ended, 5, off) == date(2026, 11, 27)
    assert within_days_of(ended, 12 * 7) == date(2027, 2, 12)


def test_thirty_working_days_of_a_scottish_deposit_pass_over_christmas() -> None:
    """SSI 2011/176 reg 3, 30 working days from the start of the tenancy: memory. 30 November 2026 is a holiday."""
    assert working_days_after(date(2026, 11, 2), 30, DAYS_OFF["scotland"]) == date(2026, 12, 15)
    assert working_days_after(date(2026, 11, 16), 30, DAYS_OFF["scotland"]) == date(2026, 12, 31)


@pytest.mark.parametrize(
    ("occupied", "seven", "fourteen"),
    [
        (date(2026, 9, 1), date(2026, 9, 7), date(2026, 9, 14)),
        (date(2028, 2, 20), date(2028, 2, 26), date(2028, 3, 4)),
    ],
)
def test_welsh_days_start_with_the_occupation_date(occupied: date, seven: date, fourteen: date) -> None:
    """WSI 2022/6 reg 6(3) (revised text seen): 14 days starting with the occupation date; 7 as made."""
    assert days_starting_with(occupied, 7) == seven
    assert days_starting_with(occupied, 14) == fourteen


def test_five_welsh_years_beginning_with_1_march_keep_a_leap_day() -> None:
    """WSI 2022/6 reg 6(2)(b)(i) (seen): the period ends on the day before the anniversary, here 29 February 2028."""
    assert years_beginning_with(date(2023, 3, 1), 5) == date(2028, 2, 29)


def test_a_scottish_inspection_in_the_five_years_before_a_start() -> None:
    """Housing (Scotland) Act 2006 s.19A-19B (guidance Annex D3 seen, opening; the anniversary itself is a reading)."""
    assert add_years(date(2021, 11, 25), 5) == date(2026, 11, 25)


def test_a_home_report_is_no_more_than_twelve_weeks_old_when_marketed() -> None:
    """SSI 2008/76, from memory: twelve weeks are 84 days."""
    assert within_days_of(date(2026, 9, 2), 12 * 7) == date(2026, 11, 25)


def test_a_northern_irish_energy_certificate_is_no_more_than_ten_years_old() -> None:
    """SR 2008/170 reg 8(3) (seen); that the anniversary is still in time is a reading."""
    assert add_years(date(2016, 11, 25), 10) == date(2026, 11, 25)


def test_northern_irish_deposit_days_and_notice_days() -> None:
    """Deposit: 28 days to protect, 35 to inform (Private Tenancies Act (NI) 2022, memory). Notice: 28 days of the grant
    (SR 2023/19; nidirect seen). Neither counts its own day."""
    assert within_days_of(date(2026, 11, 2), 28) == date(2026, 11, 30)
    assert within_days_of(date(2026, 11, 2), 35) == date(2026, 12, 7)


def test_three_years_of_a_northern_irish_landlord_and_of_a_scottish_licence() -> None:
    """SR 2014/9 regs 3-5 (seen): registered for three years. Housing (Scotland) Act 2006 s.134: up to three, memory."""
    assert add_years(date(2023, 11, 25), 3) == date(2026, 11, 25)
