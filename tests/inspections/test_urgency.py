"""How soon a defect has to be seen to: the band, the day that counts and the reason told for it."""

import re
from datetime import date, timedelta
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from inspections.urgency import HOUSE_POLICY, LAW, NO_DAY, PRACTICE, PRACTICE_DAYS, urgency
from inspections.words import BAND, TRADE
from portfolio.law.lawbook import Lawbook
from portfolio.law.loader import load
from portfolio.law.model import CODES, NATIONS
from portfolio.law.policy import Policy, days_of

FOUND = date(2026, 11, 25)
BOOK: Lawbook = load()
ANY_CODE = st.sampled_from([(scheme, code) for scheme, codes in CODES.items() for code in codes])
ANY_DAY = st.dates(date(2000, 1, 1), date(2100, 1, 1))


@pytest.mark.parametrize(("scheme", "code"), [(s, code) for s, codes in CODES.items() for code in codes])
def test_every_code_has_a_band_and_a_reason(scheme: str, code: str) -> None:
    found = urgency(scheme, code, found=FOUND)
    assert found.band in BAND
    assert found.why.endswith(".")
    assert found.source
    assert (found.due is None) == (found.band == 4) == (found.basis == NO_DAY)


def test_a_danger_is_due_on_the_day_it_was_found() -> None:
    found = urgency("bs7671", "C1", found=FOUND, nation="england")
    assert (found.band, found.due, found.basis) == (0, FOUND, PRACTICE)
    assert found.why.startswith(
        "Act at once, on the day it was found (common practice): somebody can be hurt now."
    )


def test_the_day_it_was_found_is_not_counted() -> None:
    found = urgency("bs7671", "C2", found=FOUND)
    assert found.due == date(2026, 12, 9)
    assert found.why.startswith("By 9 December 2026, 14 days after it was found (common practice):")


def test_what_has_to_be_looked_into_has_four_weeks() -> None:
    assert urgency("bs7671", "FI", found=date(2026, 2, 1)).due == date(2026, 3, 1)


@pytest.mark.parametrize(
    ("law", "due", "basis"),
    [
        (date(2026, 12, 8), date(2026, 12, 8), LAW),
        (date(2026, 12, 9), date(2026, 12, 9), LAW),
        (date(2026, 12, 10), date(2026, 12, 9), PRACTICE),
    ],
)
def test_the_law_s_day_counts_when_it_is_not_the_later(law: date, due: date, basis: str) -> None:
    says = "Remedial work of the report, SI 2020/312 reg 3(4)."
    found = urgency("bs7671", "C2", found=FOUND, nation="england", law_due=law, law_says=says)
    assert (found.due, found.basis) == (due, basis)
    assert (says in found.why) == (says == found.source) == (basis == LAW)


def test_a_day_of_the_law_counts_even_where_we_have_none() -> None:
    found = urgency("other", "note", found=FOUND, law_due=date(2027, 1, 1))
    assert (found.band, found.due, found.basis) == (4, date(2027, 1, 1), LAW)


def test_with_the_day_not_recorded_no_day_is_made_up() -> None:
    found = urgency("bs7671", "C2", found=None)
    assert (found.band, found.due) == (1, None)
    assert "The day it was found is not recorded, so no last day can be told." in found.why


def test_with_the_day_not_recorded_the_law_s_day_is_still_told() -> None:
    found = urgency("bs7671", "C2", found=None, law_due=date(2026, 12, 1))
    assert (found.due, found.basis) == (date(2026, 12, 1), LAW)
    assert "The day it was found is not recorded" in found.why


@pytest.mark.parametrize(
    ("nation", "says"),
    [
        (None, "The nation is not recorded"),
        ("england", "SI 2020/312"),
        ("northern_ireland", "SR 2024/201"),
        ("wales", ""),
        ("scotland", ""),
    ],
)
def test_the_law_of_rented_homes_is_named_where_it_sets_no_day_yet(nation: str | None, says: str) -> None:
    why = urgency("bs7671", "C2", found=FOUND, nation=nation).why
    assert says in why
    assert ("28 days" in why) == (nation in ("england", "northern_ireland"))
    assert "SI 2020/312" not in urgency("bs7671", "C3", found=FOUND, nation=nation).why


@pytest.mark.parametrize(
    ("code", "trade", "suspected", "band"),
    [
        ("danger", "gas", True, 0),
        ("repair", "gas", True, 1),
        ("note", "gas", True, 1),
        ("repair", "gas", False, 2),
        ("repair", "electrical", True, 2),
        ("repair", None, True, 2),
    ],
)
def test_suspected_gas_is_urgent_whatever_its_word(code: str, trade: str, suspected: bool, band: int) -> None:
    found = urgency("other", code, found=FOUND, trade=trade, suspected=suspected)
    assert found.band == band
    assert ("only a registered gas engineer can class it" in found.why) == (trade == "gas" and suspected)


@pytest.mark.parametrize(
    ("code", "days", "due", "basis"),
    [
        ("C2", {1: 7}, 7, HOUSE_POLICY),
        ("C2", {1: 14}, 14, PRACTICE),
        ("C2", {1: 20}, 14, PRACTICE),
        ("C2", {3: 7}, 14, PRACTICE),
        ("C3", {1: 7}, 365, PRACTICE),
        ("C3", {3: 1}, 1, HOUSE_POLICY),
        ("FI", {1: 14}, 14, HOUSE_POLICY),
        ("C1", {0: 0, 1: 7}, 0, PRACTICE),
    ],
)
def test_a_house_policy_shortens_our_days_and_never_lengthens_them(
    code: str, days: dict[int, int], due: int, basis: str
) -> None:
    found = urgency("bs7671", code, found=FOUND, days=days)
    assert (found.due, found.basis) == (FOUND + timedelta(days=due), basis)
    assert ("the house policy asks this" in found.why) == (basis == HOUSE_POLICY)


@pytest.mark.parametrize(
    ("scheme", "code", "says"),
    [
        ("bs7672", "C1", "scheme: 'bs7672' is not known. Use one of: bs7671, igem_g11,"),
        ("bs7671", "ID", "code: 'ID' is not one of bs7671. Use one of: C1, C2, C3, FI."),
    ],
)
def test_what_is_not_known_is_refused_with_the_cure(scheme: str, code: str, says: str) -> None:
    with pytest.raises(ValueError, match=f"^{re.escape(says)}"):
        urgency(scheme, code, found=FOUND)


def test_the_end_of_the_calendar_is_no_accident() -> None:
    assert urgency("bs7671", "C3", found=date(9999, 12, 1)).due == date.max


@given(
    ANY_CODE,
    st.none() | ANY_DAY,
    st.none() | ANY_DAY,
    st.none() | st.sampled_from(NATIONS),
    st.none() | st.sampled_from(sorted(TRADE)),
    st.booleans(),
    st.dictionaries(st.integers(0, 4), st.integers(0, 1000)),
)
def test_nothing_makes_a_day_later(
    code: tuple[str, str],
    found: date | None,
    law: date | None,
    nation: str | None,
    trade: str | None,
    suspected: bool,
    days: dict[int, int],
) -> None:
    """Neither the law's day nor a house policy, nor not knowing one of them."""
    told: dict[str, Any] = {"found": found, "nation": nation, "trade": trade, "suspected": suspected}
    plain, full = urgency(*code, **told), urgency(*code, **told, law_due=law, days=days)
    assert full.band == plain.band
    for limit in (plain.due, law):
        assert limit is None or (full.due is not None and full.due <= limit)


@given(
    ANY_CODE,
    ANY_DAY,
    st.dictionaries(st.sampled_from(["urgent", "soon", "plan"]), st.integers(1, 14)),
)
def test_every_policy_that_can_be_kept_shortens(
    code: tuple[str, str], found: date, asks: dict[str, int]
) -> None:
    plain = urgency(*code, found=found)
    shorter = urgency(*code, found=found, days=days_of(Policy.of({"repair_days": asks}, BOOK)))
    assert (plain.due is None) == (shorter.due is None)
    assert plain.due is None or shorter.due is None or found <= shorter.due <= plain.due


def test_the_more_pressing_band_has_the_fewer_days() -> None:
    assert list(PRACTICE_DAYS) == sorted(PRACTICE_DAYS)
    assert list(PRACTICE_DAYS.values()) == sorted(set(PRACTICE_DAYS.values()))


@pytest.mark.parametrize(
    ("scheme", "code", "more", "advised"),
    [
        ("bs7671", "C3", {}, True),
        ("fire", "tolerable", {}, True),
        ("bs7671", "C3", {"days": {3: 30}}, False),
        ("bs7671", "C3", {"law_due": date(2026, 12, 1)}, False),
        ("bs7671", "C2", {}, False),
        ("bs7671", "FI", {}, False),
        ("other", "repair", {}, False),
        ("other", "note", {}, False),
    ],
)
def test_an_improvement_that_nobody_asks_for_is_only_advised_and_never_late(scheme, code, more, advised):
    said = urgency(scheme, code, found=FOUND, **more)
    assert said.advised is advised
    assert said.why.startswith("Advised by ") is advised
    assert said.asked_by == (None if advised else said.due)
    if said.due is not None:
        after = [said.due + timedelta(days=n) for n in (-1, 0, 1, 400)]
        assert [said.days_late(day) for day in after] == ([0, 0, 0, 0] if advised else [0, 0, 1, 400])
