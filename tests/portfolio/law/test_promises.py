"""What an answer promises, tried on homes of every sort, half of them shaped from the clear flat."""

import random
from dataclasses import fields, replace
from datetime import date
from typing import Any

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from portfolio.law.evaluate import evaluate
from portfolio.law.loader import load
from portfolio.law.model import (
    CODES,
    LANDLORDS,
    NATIONS,
    RATINGS,
    SCHEMES,
    ApplianceCheck,
    Basis,
    Building,
    Certificate,
    Defect,
    Letting,
    Occupancy,
    Standing,
    State,
    Unit,
)  # fmt: skip
from portfolio.law.policy import Policy, with_policy
from portfolio.law.variants import announced, assuming

from .homes import TODAY, home
from .nations import complete
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
SETTLED = {State.MET, State.NOT_APPLICABLE}
COMPLETE = {nation: complete(nation) for nation in NATIONS}


@st.composite
def homes(draw: st.DrawFn) -> tuple[Building, Unit]:
    """Any home at all, or one complete in its nation with a few of its lists drawn afresh or added to."""
    if draw(st.booleans()):
        return draw(buildings), draw(units)
    building, flat = COMPLETE[draw(st.sampled_from(NATIONS))]
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
        landlord=draw(st.sampled_from(("private", "private", *LANDLORDS))),
        events=tuple(draw(st.lists(acts, max_size=4))),
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


LONG_SOCIAL = Unit("U", "B", landlord="registered_provider", letting=Letting(term_years=7))


@given(homes(), asked)
@example(
    (Building("B", nation="england"), LONG_SOCIAL), date(2025, 6, 1)
)  # outside from memory, then by its topic
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
    for one in answer.requirements:
        if answer.let.clear and one.let == "block":
            assert one.state in SETTLED, one.id
        # A certificate ordered in time does for a sale, with a warning, though there is none yet for a let.
        if answer.sale.clear and one.sale == "block" and not (one.id == "ew_epc" and answer.sale.warnings):
            assert one.state in SETTLED, one.id
    for reason in (*answer.let.bars, *answer.sale.bars):
        assert states[reason.requirement] in ("not_met", "unknown")
        assert reason.says.endswith(".")
        assert reason.cure.endswith(".")
        assert reason.source


NOT_RECORDED = (
    "landlord", "dwelling", "letting", "occupancy", "appliances", "alarms", "rooms", "certificates", "defects",
    "landlord_electrical_appliances", "main_board_rcd_30ma",
)  # fmt: skip
"""What a home may be asked. A day on which something ended (withdrawn, confirmed) is not: none means not yet."""


@given(homes(), asked, st.sampled_from(NOT_RECORDED))
def test_taking_a_fact_away_clears_nothing(facts: tuple[Building, Unit], day: date, name: str) -> None:
    building, unit = facts
    empty: dict[str, Any] = {"letting": Letting(), "occupancy": Occupancy()}
    less = on_day((building, replace(unit, **{name: empty.get(name)})), day)
    assert not less.let.clear or on_day(facts, day).let.clear
    assert not less.sale.clear or on_day(facts, day).sale.clear


@given(homes(), asked)
def test_without_a_nation_nothing_is_clear(facts: tuple[Building, Unit], day: date) -> None:
    building, unit = facts
    answer = on_day((replace(building, nation=None), unit), day)
    assert not answer.let.clear
    assert not answer.sale.clear


@given(homes(), asked, st.data())
def test_a_later_inspection_shortens_nothing_unseen(
    facts: tuple[Building, Unit], day: date, data: st.DataObject
) -> None:
    """A good paper newer than all of its kind may bring a last day forward (a newer energy certificate displaces an
    older one, a report may ask for less time), but then the requirement names that paper and not the old one."""
    building, unit = facts
    kind = data.draw(st.sampled_from(("eicr", "gas_safety_record", "epc", "pat", "landlord_registration")))
    dated = ("inspected", "issued", "registered")
    mine = [one for one in unit.certificates or () if one.kind == kind]
    known = [one for paper in mine for one in (getattr(paper, name) for name in dated) if one is not None]
    newest = max((one for one in known if one <= day), default=day - 400 * DAY)
    made = data.draw(st.dates(newest, day))
    safe = tuple(ApplianceCheck(one.ref, "safe") for one in unit.appliances or ())
    later = Certificate(
        "later", kind, None, made, made, made, None, "satisfactory", "C",
        data.draw(st.sampled_from((None, 1, 5))), None, safe,
    )  # fmt: skip
    before = {one.id: one for one in on_day(facts, day).requirements}
    worse = replace(unit, certificates=(*(unit.certificates or ()), later))
    for now in on_day((building, worse), day).requirements:
        was = before[now.id]
        if was.due is not None and (now.due is None or now.due < was.due):
            named = {now.certificate, *(part.certificate for part in now.parts)}
            assert "later" in named or made in known, (was, now)


POLICIES = st.builds(
    Policy,
    also_dangers=st.dictionaries(st.sampled_from(SCHEMES), st.just(()), max_size=3).map(
        lambda chosen: {scheme: CODES[scheme] for scheme in sorted(chosen)}
    ),
    worst_band=st.one_of(st.none(), st.sampled_from(RATINGS)),
    alarm_test_months=st.one_of(st.none(), st.integers(1, 60)),
    gas_margin_days=st.one_of(st.none(), st.integers(1, 366)),
    electrical_margin_days=st.one_of(st.none(), st.integers(1, 366)),
    energy_margin_days=st.one_of(st.none(), st.integers(1, 366)),
    warnings_that_bar=st.sets(
        st.sampled_from(sorted(topic.id for topic in BOOK.topics.values() if topic.let == "warn"))
    ).map(lambda ids: tuple(sorted(ids))),
)


@given(homes(), asked, POLICIES)
def test_a_house_policy_only_adds_bars(facts: tuple[Building, Unit], day: date, policy: Policy) -> None:
    by_law, by_house = on_day(facts, day), evaluate(with_policy(BOOK, policy), *facts, day)
    for purpose in ("let", "sale"):
        law, house = getattr(by_law, purpose), getattr(by_house, purpose)
        held = {(bar.requirement, bar.kind, bar.of) for bar in house.bars}
        assert {(bar.requirement, bar.kind, bar.of) for bar in law.bars} <= held
        if house.clear and house.until is None:
            assert law.until is None
        elif house.clear and law.until is not None:
            assert house.until is not None
            assert house.until <= law.until
    added = [bar for bar in by_house.let.bars if bar not in by_law.let.bars]
    assert {bar.basis for bar in added} <= {Basis.HOUSE_POLICY}
    lawful = {one.id: one.state for one in by_law.requirements if not one.id.startswith("house_")}
    assert lawful == {one.id: one.state for one in by_house.requirements if not one.id.startswith("house_")}


USABLE = sorted(name for name, (_, entry) in announced(BOOK).items() if entry.sets)


@given(homes(), asked, st.sampled_from(USABLE), st.integers(1, 900))
def test_law_assumed_from_a_day_leaves_the_days_before_as_they_were(
    facts: tuple[Building, Unit], day: date, name: str, later: int
) -> None:
    start = day + later * DAY
    book = assuming(BOOK, {name: start})
    now, then = on_day(facts, day), evaluate(book, *facts, day)
    assert said(then) == said(now)
    if now.changes_on is not None and now.changes_on < start:
        assert then.changes_on == now.changes_on
    else:
        assert then.changes_on is None or then.changes_on >= start
    for purpose in ("let", "sale"):
        was, would = getattr(now, purpose).until, getattr(then, purpose).until
        if was is not None and was < start - DAY:
            assert would == was
        else:
            assert would is None or would >= start - DAY
    assert ("assumed", f"{name} from {start}") in then.packs


def said(answer: Standing) -> list[object]:
    """All of an answer about its own day; which entry of a dated value a reason cites is not told apart here."""
    reasons = (*answer.let.bars, *answer.let.warnings, *answer.sale.bars, *answer.sale.warnings)
    return [
        [(one.id, one.state, one.due, one.certificate, one.parts) for one in answer.requirements],
        [(one.requirement, one.kind, one.of, one.since, one.says) for one in reasons],
        [(one.id, one.due, one.of, one.party, one.state) for one in answer.duties],
        (answer.let.clear, answer.sale.clear),
    ]


def test_the_clear_flat_is_clear() -> None:
    answer = on_day(CLEAR, TODAY)
    assert (answer.let.until, answer.sale.until) == (date(2027, 6, 2), date(2030, 9, 9))
    assert answer.changes_on == date(2027, 6, 3)


@pytest.mark.parametrize("nation", NATIONS)
def test_the_complete_home_is_clear_in_every_nation(nation: str) -> None:
    answer = on_day(COMPLETE[nation], TODAY)
    assert (answer.let.bars, answer.sale.bars) == ((), ())
    assert {one.state for one in answer.requirements} <= SETTLED
