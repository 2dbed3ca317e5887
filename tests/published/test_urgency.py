"""Bands and days beside what is published. What is ours is marked "common practice, no source"; titles of instruments
and meanings of codes are from memory unless said otherwise."""

from datetime import date, timedelta

import pytest

from inspections.urgency import PRACTICE, PRACTICE_DAYS, urgency
from portfolio.law.dates import days_starting_with
from portfolio.law.loader import load

FOUND = date(2026, 11, 2)

CODES = [
    ("bs7671", "C1", 0, "BS 7671 App 6: danger present, risk of injury"),
    ("bs7671", "C2", 1, "BS 7671 App 6: potentially dangerous"),
    ("bs7671", "FI", 1, "BS 7671 App 6: to be looked into without delay; A4's effect on the result not checked"),
    ("bs7671", "C3", 3, "BS 7671 App 6: improvement recommended; no day by any law"),
    ("igem_g11", "ID", 0, "IGEM/G/11: Immediately Dangerous, disconnected there and then"),
    ("igem_g11", "AR", 1, "IGEM/G/11: At Risk, turned off until repaired; the days: common practice, no source"),
    ("igem_g11", "NCS", 4, "IGEM/G/11: class dropped on 1 July 2015"),
    ("hhsrs", "cat1", 1, "Housing Act 2004 s.5: the council has to act"),
    ("hhsrs", "cat2", 2, "Housing Act 2004 s.7: the council may act"),
    ("fire", "intolerable", 0, "PAS 79 scale: not to be occupied until the risk is reduced"),
    ("fire", "substantial", 1, "PAS 79 scale: urgent action while occupied"),
    ("fire", "moderate", 2, "PAS 79 scale: within a defined time"),
    ("fire", "tolerable", 3, "PAS 79 scale: no major controls needed"),
    ("fire", "trivial", 4, "PAS 79 scale: no action"),
    ("damp_mould", "emergency", 0, "SI 2025/1042: made safe within 24 hours"),
    ("damp_mould", "significant", 1, "SI 2025/1042: 10 working days to look; our days: common practice, no source"),
    ("damp_mould", "minor", 2, "common practice, no source"),
    ("other", "danger", 0, "common practice, no source"),
    ("other", "repair", 2, "common practice, no source"),
    ("other", "note", 4, "common practice, no source"),
]  # fmt: skip


@pytest.mark.parametrize(("scheme", "code", "band", "source"), CODES, ids=[f"{s}-{c}" for s, c, *_ in CODES])
def test_the_band_of_each_code(scheme: str, code: str, band: int, source: str) -> None:
    assert urgency(scheme, code, found=FOUND).band == band, source


def test_our_days_are_marked_as_nobody_s_rule() -> None:
    """Common practice, no source: at once, a fortnight, three months, a year."""
    assert PRACTICE_DAYS == {0: 0, 1: 14, 2: 90, 3: 365}
    assert PRACTICE == "common practice, no source"
    for scheme, code, band, _ in CODES:
        found = urgency(scheme, code, found=FOUND)
        assert (found.basis == PRACTICE) == (band in PRACTICE_DAYS), (scheme, code)


def test_what_the_standards_call_urgent_never_runs_past_the_28_days_of_rented_england() -> None:
    """SI 2020/312 reg 3(4), in the pack: remedial work or further investigation within 28 days or the shorter time."""
    book = load()
    days = book.value("eng_eicr", "remedial_days", FOUND)
    for code in ("C1", "C2", "FI"):
        due = urgency("bs7671", code, found=FOUND, nation="england").due
        assert due is not None
        assert isinstance(days, int)
        assert due <= FOUND + timedelta(days=days), code


def test_the_law_s_own_count_wins_over_ours_for_fi() -> None:
    """SI 2020/312 reg 3(4) counts the day of inspection in; our four weeks do not, so the law's day is one earlier."""
    law = days_starting_with(FOUND, 28)
    found = urgency(
        "bs7671", "FI", found=FOUND, nation="england", law_due=law, law_says="SI 2020/312 reg 3(4)."
    )
    assert urgency("bs7671", "FI", found=FOUND).due == date(2026, 11, 30)
    assert (found.due, found.basis) == (date(2026, 11, 29), "law")
