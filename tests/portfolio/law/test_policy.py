"""A house policy: what may be written into one, that it never loosens the law, and that it answers as itself."""

import random
import re
from dataclasses import replace
from datetime import date, timedelta
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from portfolio.law.evaluate import evaluate
from portfolio.law.lawbook import Lawbook
from portfolio.law.loader import load
from portfolio.law.model import CODES, NATIONS, RATINGS, Basis, State
from portfolio.law.policy import (
    MARGINS,
    POLICY,
    REPAIR_DAYS,
    Policy,
    always_dangers,
    days_of,
    warnings_of,
    with_policy,
)
from portfolio.law.rules.house import _MARGINS as PAPERS_WITH_MARGINS

from .homes import TODAY, home, standing
from .nations import complete, standing_in

BOOK = load()
WARNING = warnings_of(BOOK)[0]
C3 = {"also_dangers": {"bs7671": ["C3"]}}
FULL: dict[str, Any] = {
    "also_dangers": {"bs7671": ["C3"], "hhsrs": ["cat2"]},
    "worst_band": "D",
    "alarm_test_months": 12,
    "gas_margin_days": 30,
    "electrical_margin_days": 60,
    "energy_margin_days": 90,
    "warnings_that_bar": [WARNING],
    "repair_days": {"urgent": 7, "plan": 180},
}


def asked(data: dict[str, Any], book: Lawbook = BOOK) -> Lawbook:
    return with_policy(book, Policy.of(data, book))


def warned_book(requirement: str = "eng_eicr") -> Lawbook:
    """The book with one requirement that only warns of a let, the others as they are."""
    topics = dict(BOOK.topics)
    topics[requirement] = replace(topics[requirement], let="warn")
    voices = {
        nation: tuple(voice._replace(topic=topics[voice.topic.id]) for voice in voices)
        for nation, voices in BOOK.voices.items()
    }
    return replace(BOOK, topics=topics, voices=voices)


WRONG = [
    ({"gas_margin": 30}, "gas_margin: unknown. Use one of: "),
    ({"also_dangers": {"nhs": ["C3"]}}, "also_dangers.nhs: 'nhs' is not known. Use one of: bs7671,"),
    ({"also_dangers": {"bs7671": ["C9"]}}, "also_dangers.bs7671: 'C9' is not known. Use one of: C1, C2, C3, FI."),
    ({"also_dangers": {"bs7671": "C3"}}, "also_dangers.bs7671: 'C3' is not a list. Write it in brackets"),
    ({"also_dangers": ["C3"]}, "also_dangers: ['C3'] is not a table of codes by scheme"),
    ({"worst_band": "H"}, "worst_band: 'H' is not known. Use one of: A, B, C, D, E, F, G."),
    ({"worst_band": 4}, "worst_band: 4 is not known."),
    ({"alarm_test_months": 0}, "alarm_test_months: 0 is not a whole number from 1 to 60. Leave it out for none."),
    ({"alarm_test_months": 61}, "alarm_test_months: 61 is not a whole number from 1 to 60."),
    ({"alarm_test_months": True}, "alarm_test_months: True is not a whole number"),
    ({"alarm_test_months": "12"}, "alarm_test_months: '12' is not a whole number"),
    ({"gas_margin_days": -1}, "gas_margin_days: -1 is not a whole number from 1 to 366."),
    ({"energy_margin_days": 367}, "energy_margin_days: 367 is not a whole number from 1 to 366."),
    ({"electrical_margin_days": 1.5}, "electrical_margin_days: 1.5 is not a whole number"),
    ({"warnings_that_bar": ["eng_eicr"]}, "warnings_that_bar: 'eng_eicr' is not known. Use one of: "),
    ({"warnings_that_bar": WARNING}, f"warnings_that_bar: '{WARNING}' is not a list."),
    ({"repair_days": [7]}, "repair_days: [7] is not a table of days, such as {'urgent': 7}."),
    ({"repair_days": {"later": 7}}, "repair_days: 'later' is not known. Use one of: urgent, soon, plan."),
    ({"repair_days": {"urgent": 15}}, "repair_days.urgent: 15 is not a whole number from 1 to 14."),
    ({"repair_days": {"soon": 0}}, "repair_days.soon: 0 is not a whole number from 1 to 90."),
    ({"repair_days": {"plan": "30"}}, "repair_days.plan: '30' is not a whole number from 1 to 365."),
    ({"warnings_that_bar": 7}, "warnings_that_bar: 7 is not a list."),
]  # fmt: skip


@pytest.mark.parametrize(("data", "says"), WRONG, ids=[says for _, says in WRONG])
def test_a_wrong_value_is_refused_with_its_field_and_the_cure(data: dict[str, Any], says: str) -> None:
    with pytest.raises(ValueError, match=f"^{re.escape(says)}"):
        Policy.of(FULL | data, BOOK)


@pytest.mark.parametrize("name", [*MARGINS, "alarm_test_months"])
def test_the_least_and_the_most_are_taken(name: str) -> None:
    most = 60 if name == "alarm_test_months" else 366
    assert [Policy.of({name: number}, BOOK).as_dict() for number in (1, most)] == [{name: 1}, {name: most}]


EMPTY: list[dict[str, Any]] = [
    {}, {"also_dangers": {}}, {"also_dangers": {"bs7671": []}}, {"also_dangers": None}, {"worst_band": ""},
    {"worst_band": None}, {"gas_margin_days": None}, {"gas_margin_days": ""}, {"warnings_that_bar": []},
    {"also_dangers": {"bs7671": ["FI", "C1"]}},
]  # fmt: skip


@pytest.mark.parametrize("data", EMPTY, ids=str)
def test_a_policy_that_adds_nothing_is_no_policy(data: dict[str, Any]) -> None:
    policy = Policy.of(data, BOOK)
    assert (policy.as_dict(), policy.mark) == ({}, "")
    assert with_policy(BOOK, policy) is BOOK


def test_what_is_stored_is_read_back_the_same() -> None:
    policy = Policy.of(FULL, BOOK)
    assert policy.as_dict() == FULL
    assert Policy.of(policy.as_dict(), BOOK) == policy
    assert Policy.kept(policy.as_dict(), BOOK) == policy


def test_the_mark_stands_for_what_is_asked_and_for_nothing_else() -> None:
    """Pinned: stored standings and clearances carry it."""
    assert Policy.of(C3, BOOK).mark == Policy.of({"also_dangers": {"bs7671": ["FI", "C3", "C3"]}}, BOOK).mark
    assert Policy.of(FULL, BOOK).mark == Policy.of(dict(reversed(FULL.items())), BOOK).mark
    one, other = {"hhsrs": ["cat2"], "bs7671": ["C3"]}, {"bs7671": ["C3"], "hhsrs": ["cat2"]}
    both: list[dict[str, Any]] = [{"also_dangers": one}, {"also_dangers": other}]
    assert len({Policy.of(data, BOOK).mark for data in both}) == 1
    assert Policy.of({"gas_margin_days": 30}, BOOK).mark == "80eb7cd010f9"


@pytest.mark.parametrize("name", FULL)
def test_every_setting_changes_the_mark(name: str) -> None:
    less = {key: value for key, value in FULL.items() if key != name}
    assert Policy.of(less, BOOK).mark != Policy.of(FULL, BOOK).mark


def test_a_stored_warning_that_the_law_bars_by_itself_now_is_left_out() -> None:
    held = {"warnings_that_bar": ["eng_eicr", WARNING], "worst_band": "D"}
    with pytest.raises(ValueError, match="^warnings_that_bar: 'eng_eicr'"):
        Policy.of(held, BOOK)
    assert Policy.kept(held, BOOK).as_dict() == {"warnings_that_bar": [WARNING], "worst_band": "D"}
    assert Policy.kept({"warnings_that_bar": ["eng_eicr"]}, BOOK).mark == ""


def test_the_answer_names_the_policy_among_its_packs_and_the_book_is_left_alone() -> None:
    before = standing(TODAY)
    answer = standing(TODAY, asked(FULL))
    assert dict(answer.packs)[POLICY] == Policy.of(FULL, BOOK).mark
    assert standing(TODAY) == before
    assert POLICY not in dict(before.packs)


def test_without_a_policy_the_house_rules_it_turns_on_are_silent() -> None:
    """A pack that asked something of everybody here would be loosened by no policy; it would still be a surprise."""
    for nation in NATIONS:
        states = {one.id: one.state for one in standing_in(nation).requirements}
        for quiet in ("house_margin", "house_band", "house_alarm_test"):
            assert states[quiet] is State.NOT_APPLICABLE


def test_further_investigation_bars_by_default() -> None:
    assert always_dangers(BOOK, "bs7671") == ("C1", "C2", "FI")


@pytest.mark.parametrize(("scheme", "code"), [(s, c) for s in CODES for c in CODES[s]])
def test_any_code_can_be_made_to_bar_and_is_the_house_s_own(scheme: str, code: str) -> None:
    defect = {"ref": "d", "scheme": scheme, "code": code, "found": "2026-11-20"}
    policy = Policy.of({"also_dangers": {scheme: [code]}}, BOOK)
    answer = standing(TODAY, with_policy(BOOK, policy), defects=[defect])
    for purpose in (answer.let, answer.sale):
        mine = [bar for bar in purpose.bars if bar.requirement == "house_danger"]
        assert [(bar.of, bar.kind, bar.basis) for bar in mine] == [("d", "danger", Basis.HOUSE_POLICY)]


def test_a_warning_made_to_bar_keeps_its_words_and_source_and_is_house_policy() -> None:
    book = warned_book()
    failing: dict[str, Any] = {"papers": [{"kind": "eicr"}]}
    by_law = standing(TODAY, book, **failing)
    assert by_law.let.clear
    (warned,) = (one for one in by_law.let.warnings if one.requirement == "eng_eicr")
    by_house = standing(TODAY, asked({"warnings_that_bar": ["eng_eicr"]}, book), **failing)
    (bar,) = by_house.let.bars
    assert (bar.says, bar.cure, bar.kind) == (warned.says, warned.cure, warned.kind)
    assert warned.source in bar.source
    assert bar.basis is Basis.HOUSE_POLICY
    assert "eng_eicr" not in {one.requirement for one in by_house.let.warnings}
    assert by_house.sale == by_law.sale


def test_a_raised_warning_that_is_met_bars_nothing_and_ends_with_its_paper() -> None:
    paper = {"ref": "e", "kind": "eicr", "inspected": "2022-01-10", "outcome": "satisfactory"}
    book = asked({"warnings_that_bar": ["eng_eicr"]}, warned_book())
    answer = standing(TODAY, book, papers=[paper])
    assert answer.let.clear
    assert answer.let.until == date(2027, 1, 10)


def test_a_real_warning_of_the_packs_can_be_raised() -> None:
    """Whatever warns today can be made to bar by its own id, without touching another requirement."""
    for name in warnings_of(BOOK):
        topic = asked({"warnings_that_bar": [name]}).topics[name]
        assert topic.raised
        assert replace(topic, raised=False) == BOOK.topics[name]


@pytest.mark.parametrize("nation", NATIONS)
def test_every_paper_with_a_margin_is_asked_in_every_nation(nation: str) -> None:
    """A margin whose requirement the book does not hold would be silent, so there must be none."""
    for _, topics in PAPERS_WITH_MARGINS.values():
        assert topics[nation] in BOOK.topics


@pytest.mark.parametrize("nation", NATIONS)
@pytest.mark.parametrize("name", MARGINS)
def test_a_margin_ends_the_let_so_many_days_before_the_paper_does(nation: str, name: str) -> None:
    building, unit = complete(nation)
    _, topics = PAPERS_WITH_MARGINS[name]
    due = {one.id: one.due for one in evaluate(BOOK, building, unit, TODAY).requirements}[topics[nation]]
    assert due is not None
    book = asked({name: 45})
    margin = {one.id: one for one in evaluate(book, building, unit, TODAY).requirements}["house_margin"]
    assert margin.due == due - timedelta(days=45)
    for day, barred in ((-46, False), (-45, False), (-44, True), (0, True)):
        bars = evaluate(book, building, unit, due + timedelta(days=day)).let.bars
        assert ("house_margin" in {bar.requirement for bar in bars}) is barred


@pytest.mark.parametrize("nation", NATIONS)
def test_the_band_and_the_alarm_tests_are_asked_in_every_nation(nation: str) -> None:
    book = asked({"worst_band": "A", "alarm_test_months": 12})
    bars = {bar.requirement for bar in standing_in(nation, TODAY, book).let.bars}
    assert {"house_band", "house_alarm_test"} <= bars


def test_a_failed_report_in_wales_bars_by_house_policy_alone() -> None:
    failed = [{"ref": "e", "kind": "eicr", "inspected": "2024-03-01", "outcome": "unsatisfactory"}]
    before = standing_in("wales", date(2024, 2, 29), papers=failed)
    assert "house_failed_report" not in {bar.requirement for bar in before.let.bars}
    for day in (date(2024, 3, 1), date(2024, 3, 2), TODAY):
        bars = standing_in("wales", day, papers=failed).let.bars
        mine = [bar for bar in bars if bar.requirement == "house_failed_report"]
        assert [(bar.kind, bar.of, bar.basis) for bar in mine] == [("failed", "e", Basis.HOUSE_POLICY)]
    elsewhere = standing_in("england", papers=failed)
    assert "house_failed_report" not in {bar.requirement for bar in elsewhere.let.bars}


def test_days_for_defects_are_told_by_band_and_change_no_answer_of_the_law() -> None:
    policy = Policy.of({"repair_days": {"plan": 365, "urgent": 7, "soon": None}}, BOOK)
    assert days_of(policy) == {1: 7, 3: 365}
    assert policy.as_dict() == {"repair_days": {"urgent": 7, "plan": 365}}
    assert days_of(Policy()) == {}
    changed = with_policy(BOOK, policy)
    assert {name: topic.values for name, topic in changed.topics.items()} == {
        name: topic.values for name, topic in BOOK.topics.items()
    }


def test_a_policy_without_days_for_defects_keeps_its_mark() -> None:
    """Stored answers carry it: another mark would make all of them stale."""
    assert Policy.of({"worst_band": "B", "gas_margin_days": 30}, BOOK).mark == "6ca95d12c9a0"


policies = st.fixed_dictionaries(
    {},
    optional={
        "also_dangers": st.dictionaries(
            st.sampled_from(sorted(CODES)), st.just(None), max_size=3
        ).flatmap(lambda chosen: st.fixed_dictionaries(
            {scheme: st.lists(st.sampled_from(CODES[scheme]), max_size=3) for scheme in chosen})),
        "worst_band": st.sampled_from(RATINGS),
        "alarm_test_months": st.integers(1, 60),
        **{name: st.integers(1, 366) for name in MARGINS},
        "warnings_that_bar": st.lists(st.sampled_from(warnings_of(BOOK)), max_size=3),
        "repair_days": st.fixed_dictionaries(
            {}, optional={name: st.integers(1, most) for name, most in REPAIR_DAYS.items()}
        ),
    },
)  # fmt: skip


@given(policies, st.randoms(use_true_random=False))
def test_in_whatever_order_it_is_written_a_policy_is_the_same(
    data: dict[str, Any], chance: random.Random
) -> None:

    def mixed(value: Any) -> Any:
        if isinstance(value, dict):
            return {key: mixed(value[key]) for key in chance.sample(sorted(value), len(value))}
        return chance.sample(value, len(value)) if isinstance(value, list) else value

    shuffled = mixed(data)
    one, other = Policy.of(data, BOOK), Policy.of(shuffled, BOOK)
    assert (one, one.mark) == (other, other.mark)
    assert Policy.of(one.as_dict(), BOOK) == one


@given(policies, st.sampled_from(NATIONS), st.dates(date(2024, 1, 1), date(2031, 1, 1)))
def test_a_stricter_policy_asks_all_that_a_laxer_one_asks(
    data: dict[str, Any], nation: str, day: date
) -> None:
    """Each setting by itself bars what it bars in company: no two of them undo each other."""
    building, unit = complete(nation)
    everything = {(b.requirement, b.of, b.kind) for b in evaluate(asked(data), building, unit, day).let.bars}
    for name, value in data.items():
        alone = evaluate(asked({name: value}), building, unit, day).let.bars
        assert {(bar.requirement, bar.of, bar.kind) for bar in alone} <= everything


def test_the_clear_flat_stays_clear_under_a_policy_it_meets() -> None:
    building, unit = home()
    tested = tuple(replace(alarm, tested=(TODAY,)) for alarm in unit.alarms or ())
    answer = evaluate(asked(FULL | {"warnings_that_bar": []}), building, replace(unit, alarms=tested), TODAY)
    assert answer.let.clear
    assert answer.let.until == date(2027, 5, 3)
