"""What an answer promises, tried on homes of every sort, half of them shaped from the clear flat."""

import random
import shutil
from dataclasses import fields, replace
from datetime import date
from pathlib import Path
from typing import Any

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from portfolio.law.evaluate import evaluate
from portfolio.law.loader import PACKS, load
from portfolio.law.model import CODES, NATIONS, SCHEMES, Building, Defect, Standing, Unit

from .homes import TODAY, home
from .strategies import (
    DAY,
    acts,
    appliances,
    asked,
    buildings,
    certificates,
    days,
    defects,
    sound_certificates,
    tenancies,
    units,
)

BOOK = load()
CLEAR = home()


@st.composite
def homes(draw: st.DrawFn) -> tuple[Building, Unit]:
    """Any home at all, or the clear flat with a few of its lists drawn afresh or added to."""
    if draw(st.booleans()):
        return draw(buildings), draw(units)
    building, flat = CLEAR
    assert flat.certificates
    assert flat.appliances
    more = draw(st.lists(draw(st.sampled_from((sound_certificates, certificates))), max_size=3))
    papers = flat.certificates + tuple(replace(one, ref=f"c{n}") for n, one in enumerate(more))
    faults = tuple(replace(one, ref=f"d{n}") for n, one in enumerate(draw(st.lists(defects, max_size=2))))
    lived = tuple(replace(one, ref=f"t{n}") for n, one in enumerate(draw(st.lists(tenancies, max_size=2))))
    burners = flat.appliances + tuple(
        replace(one, ref=f"a{n}", room="kitchen")
        for n, one in enumerate(draw(st.lists(appliances, max_size=1)))
    )
    unit = replace(
        flat, certificates=papers, defects=faults, tenancies=lived, appliances=burners,
        events=tuple(draw(st.lists(acts, max_size=3))),
    )  # fmt: skip
    return building, unit


def on_day(facts: tuple[Building, Unit], day: date) -> Standing:
    return evaluate(BOOK, *facts, day)


@given(homes(), asked, st.data())
def test_every_day_before_changes_on_has_the_same_answer(
    facts: tuple[Building, Unit], day: date, data: st.DataObject
) -> None:
    first = on_day(facts, day)
    last = first.changes_on - DAY if first.changes_on else date(2200, 1, 1)
    between = data.draw(st.dates(day, last))
    for other in {between, last}:
        assert replace(on_day(facts, other), on=day) == first


@given(homes(), asked)
def test_the_answer_really_is_different_on_changes_on(facts: tuple[Building, Unit], day: date) -> None:
    first = on_day(facts, day)
    if first.changes_on is not None:
        later = on_day(facts, first.changes_on)
        assert first.changes_on > day
        assert replace(later, on=day, changes_on=None) != replace(first, changes_on=None)


@given(homes(), asked, st.data())
def test_until_is_the_last_clear_day(facts: tuple[Building, Unit], day: date, data: st.DataObject) -> None:
    first = on_day(facts, day)
    for purpose in ("let", "sale"):
        answer = getattr(first, purpose)
        if not answer.clear:
            assert answer.until is None
            assert answer.bars
            continue
        last = answer.until or date(2200, 1, 1)
        for other in {data.draw(st.dates(day, last)), last}:
            assert getattr(on_day(facts, other), purpose).clear
        if answer.until:
            assert not getattr(on_day(facts, answer.until + DAY), purpose).clear


@settings(max_examples=25)
@given(homes(), asked)
def test_a_search_day_by_day_finds_the_same_days(facts: tuple[Building, Unit], day: date) -> None:
    """The slow way round for three months, which knows nothing of turning days."""
    first = on_day(facts, day)
    changed = let_over = sale_over = None
    for ahead in range(1, 92):
        later = on_day(facts, day + ahead * DAY)
        if changed is None and replace(later, on=day, changes_on=None) != replace(first, changes_on=None):
            changed = later.on
        let_over = let_over or (later.on if first.let.clear and not later.let.clear else None)
        sale_over = sale_over or (later.on if first.sale.clear and not later.sale.clear else None)
    horizon = day + 91 * DAY
    assert changed == (first.changes_on if first.changes_on and first.changes_on <= horizon else None)
    for over, until in ((let_over, first.let.until), (sale_over, first.sale.until)):
        assert over == (until + DAY if until and until < horizon else None)


DANGERS = [(s, c) for s in SCHEMES for c in CODES[s] if c in BOOK.topics["house_danger"].values[s][0].value]  # type: ignore[operator]


@given(
    homes(),
    asked,
    st.sampled_from(DANGERS),
    st.sampled_from((None, "e", "g", "c0", "c1")),
    st.one_of(st.none(), days),
)
@example(CLEAR, TODAY, ("bs7671", "C2"), None, TODAY + DAY)
def test_an_open_danger_clears_nothing_and_bars_both(
    facts: tuple[Building, Unit], day: date, code: tuple[str, str], paper: str | None, found: date | None
) -> None:
    building, unit = facts
    worse = replace(
        unit, defects=(*(unit.defects or ()), Defect("new", *code, certificate=paper, found=found))
    )
    before, after = on_day(facts, day), on_day((building, worse), day)
    for purpose in ("let", "sale"):
        was, now = getattr(before, purpose), getattr(after, purpose)
        if found is None or found <= day:
            assert not now.clear
            assert "house_danger" in {reason.requirement for reason in now.bars}
        if unit.defects is None:
            continue  # a list of one is more than no list, so even the defect's coming may settle something
        if now.clear:
            assert was.clear
            assert now.until is not None
            assert was.until is None or now.until <= was.until
        assert {reason.requirement for reason in was.bars} <= {reason.requirement for reason in now.bars}


@given(homes(), asked, st.randoms(use_true_random=False))
def test_the_order_of_records_does_not_matter(
    facts: tuple[Building, Unit], day: date, chance: random.Random
) -> None:
    building, unit = facts
    shuffled: dict[str, Any] = {}
    for one in fields(Unit):
        value = getattr(unit, one.name)
        if isinstance(value, tuple):
            shuffled[one.name] = tuple(chance.sample(value, len(value)))
    assert on_day((building, replace(unit, **shuffled)), day) == on_day(facts, day)


@given(homes(), asked)
def test_a_clear_answer_rests_on_no_unknown(facts: tuple[Building, Unit], day: date) -> None:
    answer = on_day(facts, day)
    states = {one.id: one.state.value for one in answer.requirements}
    if answer.let.clear:
        assert set(states.values()) <= {"met", "not_applicable"}
    if answer.sale.clear:
        assert states["house_danger"] == "met"
        assert states["ew_epc"] in ("met", "not_applicable") or answer.sale.warnings
    for reason in (*answer.let.bars, *answer.sale.bars):
        assert states[reason.requirement] in ("not_met", "unknown")
        assert reason.says.endswith(".")
        assert reason.cure.endswith(".")
        assert reason.source


def test_the_clear_flat_is_clear() -> None:
    answer = on_day(CLEAR, TODAY)
    assert (answer.let.until, answer.sale.until) == (date(2027, 6, 2), date(2030, 9, 9))
    assert answer.changes_on == date(2027, 6, 3)


@pytest.mark.parametrize("nation", NATIONS)
def test_a_nation_whose_own_law_is_not_held_is_barred_and_says_so(nation: str, tmp_path: Path) -> None:
    """In a folder of packs without that nation's own, the ones it shares clear nothing."""
    packs = Path(shutil.copytree(PACKS, tmp_path / "packs"))
    shutil.rmtree(packs / nation)
    building, unit = CLEAR
    answer = evaluate(load(packs), replace(building, nation=nation), unit, TODAY)
    assert nation not in {name for name, _ in answer.packs}
    for purpose in (answer.let, answer.sale):
        assert "law_not_held" in {reason.requirement for reason in purpose.bars}
        assert not purpose.clear
    (gap,) = (one for one in answer.requirements if one.id == "law_not_held")
    assert gap.state == "unknown"
