"""A house policy is asked for, comes into force over every home at once, and leaves its trace."""

from dataclasses import replace
from datetime import date

import pytest
from django.core.exceptions import ValidationError
from django.db import connection
from django.test.utils import CaptureQueriesContext

from inspections.services.defects import defect_record
from portfolio import gate, house_policy, standing, tasks
from portfolio.exchange import portfolio1
from portfolio.facts import facts_of
from portfolio.law import model as law
from portfolio.law.evaluate import as_json, evaluate
from portfolio.law.loader import load
from portfolio.law.policy import POLICY, Policy, with_policy
from portfolio.models import Clearance, Event, HousePolicy, Unit
from portfolio.selectors.board import board, homes_for
from portfolio.selectors.home import home_page
from portfolio.services import events, homes, policies, take_in
from portfolio.services.certificates import certificate_preview
from tests.factories import DAY, at, make_agency, make_home, make_user, put_in_force, with_band

pytestmark = [pytest.mark.django_db, pytest.mark.database]

BAND_B = {"worst_band": "B"}
"""The flat of these tests has band C."""
C3 = {"also_dangers": {"bs7671": ["C3"]}}
A_C3 = (law.Defect("d1", "bs7671", "C3", "Old board", date(2026, 11, 2)),)


@pytest.fixture
def agency():
    return make_agency()


@pytest.fixture
def agent(agency):
    return make_user(agency)


@pytest.fixture
def ask(agency, agent):
    def asking(settings, why="Asked by the insurer.", **more):
        how = {"actor": agent, "moment": at()} | more
        return policies.policy_ask(agency, settings, why=why, **how)

    return asking


@pytest.fixture
def in_force(agency, agent):
    """Asks for a policy and puts it into force."""

    return lambda settings: put_in_force(agency, settings, actor=agent)


def told(verb):
    return [event.says for event in Event.objects.filter(verb=verb).order_by("seq")]


def test_what_is_asked_for_is_not_in_force_yet(agency, ask, agent):
    home = make_home(agency)
    row = ask(BAND_B)
    assert (row.settings, row.asked_by, row.asked_at, row.in_force_at) == (BAND_B, agent, at().at, None)
    assert house_policy.settings_of(agency.pk) == {}
    assert gate.mark(home.pk, "let", actor=agent, moment=at()).policy == {}


def test_asking_is_an_event_that_says_what_changes_and_why(ask, in_force):
    in_force(BAND_B)
    ask({"gas_margin_days": 30})
    first, second = told("policy.asked")
    assert first == (
        "A new house policy was asked for. Worst energy band that is let: B or better (before: nothing more). "
        "Why: Asked by the insurer."
    )
    assert "Days in hand: gas check: 30 days (before: nothing more)" in second
    assert "Worst energy band that is let: nothing more (before: B or better)" in second


@pytest.mark.parametrize("why", ["", "  "])
def test_a_reason_is_needed(ask, why):
    with pytest.raises(ValidationError, match="blank"):
        ask(BAND_B, why)
    assert not HousePolicy.objects.exists()
    assert not Event.objects.filter(verb="policy.asked").exists()


def test_a_wrong_value_stores_nothing_and_says_how_to_cure_it(ask):
    with pytest.raises(ValidationError, match=r"worst_band: 'Z' is not known. Use one of: A, B"):
        ask({"worst_band": "Z"})
    assert not HousePolicy.objects.exists()


@pytest.mark.parametrize("same", [{}, {"also_dangers": {"bs7671": ["C1"]}}])
def test_asking_for_what_is_asked_already_is_refused(ask, same):
    with pytest.raises(ValidationError, match="asks already"):
        ask(same)


def test_asking_for_the_policy_in_force_again_is_refused(in_force, ask):
    in_force(BAND_B)
    with pytest.raises(ValidationError, match="asks already"):
        ask(BAND_B)


def test_a_change_is_refused_when_another_came_since_the_page_was_opened(ask):
    first = ask(BAND_B, seen=0)
    with pytest.raises(ValidationError, match="Somebody has asked"):
        ask(C3, seen=0)
    assert ask(C3, seen=first.pk).pk > first.pk


def test_coming_into_force_withdraws_every_mark_that_no_longer_holds_and_counts(agency, agent, ask):
    marked, better = make_home(agency), make_home(agency, certificates=with_band("A"))
    make_home(agency, certificates=with_band("G"))  # barred before and after
    for home in (marked, better):
        gate.mark(home.pk, "let", actor=agent, moment=at())
    gate.mark(marked.pk, "sale", actor=agent, moment=at())
    row = ask(BAND_B)
    assert policies.policy_apply(row.pk, moment=at())
    live = Clearance.objects.filter(withdrawn_at=None)
    assert {(one.unit_id, one.purpose) for one in live} == {(better.pk, "let"), (marked.pk, "sale")}
    (ended,) = Clearance.objects.exclude(withdrawn_at=None)
    assert ended.withdrawn_why == "The energy band is C; the house policy lets nothing below B."
    (event,) = Event.objects.filter(verb="policy.came_in")
    assert event.data == {"withdrawn": 1, "let": 1, "sale": 0}
    assert event.says == (
        "The house policy asked for on 25 November 2026 came into force. Marks withdrawn: 1. "
        "Homes that could be let until then and cannot now: 1; that could be sold: 0."
    )
    assert events.verify(agency) is None


def test_every_home_carries_the_mark_of_the_policy_and_none_is_left_stale(agency, in_force):
    for _ in range(3):
        make_home(agency)
    row = in_force(BAND_B)
    mark = Policy.of(row.settings, load()).mark
    assert {unit.standing.packs[POLICY] for unit in Unit.objects.select_related("standing")} == {mark}
    assert standing.due_units(DAY) == []


def test_putting_it_into_force_twice_does_nothing_the_second_time(agency, in_force):
    make_home(agency)
    row = in_force(BAND_B)
    lines = Event.objects.count()
    assert not policies.policy_apply(row.pk, moment=at(date(2026, 11, 26)))
    row.refresh_from_db()
    assert row.in_force_at == at().at
    assert Event.objects.count() == lines


def test_one_that_was_still_waiting_when_the_next_was_asked_for_never_comes_into_force(agency, ask):
    make_home(agency)
    older = ask(BAND_B, "The first reason.")
    newer = ask(C3, "The second reason.")
    assert policies.waiting() == [newer.pk]
    assert not policies.policy_apply(older.pk, moment=at())
    assert policies.policy_apply(newer.pk, moment=at())
    assert not policies.policy_apply(older.pk, moment=at())
    older.refresh_from_db()
    assert (older.in_force_at, older.why) == (None, "The first reason.")
    assert house_policy.settings_of(agency.pk) == C3
    assert "takes the place of the one asked for on 25 November 2026" in told("policy.asked")[1]


def test_going_back_to_no_policy_is_a_policy_too(agency, in_force):
    home = make_home(agency)
    in_force(BAND_B)
    assert not Unit.objects.get(pk=home.pk).standing.let_clear
    row = in_force({})
    assert row.settings == {}
    unit = Unit.objects.get(pk=home.pk)
    assert unit.standing.let_clear
    assert POLICY not in unit.standing.packs
    assert standing.due_units(DAY) == []


def test_another_agency_s_homes_and_marks_are_left_alone(agency, in_force):
    other = make_agency()
    theirs = make_home(other)
    gate.mark(theirs.pk, "let", actor=make_user(other), moment=at())
    before = Unit.objects.get(pk=theirs.pk).standing.packs
    in_force(BAND_B)
    assert Unit.objects.get(pk=theirs.pk).standing.packs == before
    assert Clearance.objects.get(unit=theirs).withdrawn_at is None


def test_an_agency_without_homes_can_have_a_policy(agency, in_force):
    assert in_force(BAND_B).in_force_at == at().at
    assert house_policy.settings_of(agency.pk) == BAND_B


def test_a_home_taken_in_later_is_asked_by_the_policy(agency, agent, in_force):
    in_force(BAND_B)
    home = make_home(agency)
    assert not home.standing.let_clear
    with pytest.raises(gate.Barred):
        gate.mark(home.pk, "let", actor=agent, moment=at())


def test_an_answer_of_another_policy_is_stale_and_the_nightly_work_asks_again(agency, in_force):
    """As left by a home taken in while a policy was coming into force."""
    home = make_home(agency)
    old = home.standing
    in_force(BAND_B)
    old.save()
    assert standing.due_units(DAY) == [home.pk]
    assert standing.catch_up(at()) == 1
    assert not Unit.objects.get(pk=home.pk).standing.let_clear


def test_a_mark_keeps_the_policy_it_rests_on_and_can_be_replayed(agency, agent, in_force):
    in_force({"worst_band": "C", "gas_margin_days": 30} | C3)
    home = make_home(agency)
    clearance = Clearance.objects.get(pk=gate.mark(home.pk, "let", actor=agent, moment=at()).pk)
    assert clearance.policy == {"worst_band": "C", "gas_margin_days": 30} | C3
    assert clearance.until == date(2027, 4, 20)  # thirty days before 20 May 2027
    in_force({"worst_band": "A"})
    clearance.refresh_from_db()
    kept = portfolio1.from_tree(clearance.facts)
    book = with_policy(load(), Policy.kept(clearance.policy, load()))
    replayed = evaluate(book, kept.buildings[0], kept.units[0], clearance.marked_on)
    assert as_json(replayed) == clearance.answer
    assert dict(replayed.packs) == clearance.packs


@pytest.mark.parametrize(("day", "holds"), [(date(2027, 4, 20), True), (date(2027, 4, 21), False)])
def test_a_mark_ends_by_itself_when_fewer_days_are_in_hand(agency, agent, in_force, day, holds):
    in_force({"gas_margin_days": 30})
    home = make_home(agency)
    gate.mark(home.pk, "let", actor=agent, moment=at())
    standing.catch_up(at(day))
    assert (Clearance.objects.get().withdrawn_at is None) is holds


def test_a_c3_recorded_under_the_policy_withdraws_both_marks(agency, agent, in_force):
    in_force(C3)
    home = make_home(agency)
    for purpose in ("let", "sale"):
        gate.mark(home.pk, purpose, actor=agent, moment=at())
    how = {"scheme": "bs7671", "code": "C3", "title": "Old board", "found": DAY}
    defect_record(home.pk, **how, actor=agent, moment=at())
    assert not Clearance.objects.filter(withdrawn_at=None).exists()


def test_every_page_asks_by_the_agency_s_policy(agency, agent, in_force):
    in_force(BAND_B)
    home = make_home(agency)
    page = home_page(Unit.objects.get(pk=home.pk), day=DAY, today=DAY)
    assert {bar.requirement for bar in page.standing.let.bars} == {"house_band"}
    other = date(2026, 12, 24)
    for day in (DAY, other):
        assert board(homes_for(agent, DAY), answer="", day=day).counts["not-let"] == 1
    paper = law.Certificate("", "epc", registered=DAY, rating="B")
    assert certificate_preview(home.pk, paper, day=DAY).let.clear
    assert not certificate_preview(home.pk, replace(paper, rating="C"), day=DAY).let.clear


def test_a_change_of_facts_is_held_against_the_agency_s_policy(agency, agent, in_force, monkeypatch):
    """Which dangers a change would take away is asked of the book in which the policy stands."""
    in_force(C3)
    home = make_home(agency)
    asked = []
    monkeypatch.setattr(homes, "taken_away", lambda before, after, day, book: asked.append(book) or [])
    monkeypatch.setattr(take_in, "taken_away", lambda before, after, day, book: asked.append(book) or [])
    building, unit = facts_of([home.pk])[home.pk]
    how = {"why": "", "actor": agent, "moment": at()}
    homes.home_edit(home.pk, building=building, unit=replace(unit, label="Flat 9"), seen=None, **how)
    make_home(agency, ref=home.ref, label="Flat 10")
    assert len(asked) == 2
    assert {dict(book.versions["england"])[POLICY] for book in asked} == {Policy.of(C3, load()).mark}


def test_the_task_puts_it_into_force(agency, ask, time_machine):
    time_machine.move_to(at().at, tick=False)
    make_home(agency)
    row = ask(BAND_B)
    assert tasks.policy_apply(row.pk)
    assert not tasks.policy_apply(row.pk)
    assert house_policy.settings_of(agency.pk) == BAND_B


def test_the_nightly_work_starts_a_policy_whose_task_was_lost(ask, time_machine, monkeypatch):
    time_machine.move_to(at().at, tick=False)
    row = ask(BAND_B)
    started = []
    monkeypatch.setattr(tasks.policy_apply, "delay", started.append)
    tasks.catch_up()
    assert started == [row.pk]
    policies.policy_apply(row.pk, moment=at())
    tasks.catch_up()
    assert started == [row.pk]


def test_coming_into_force_costs_as_many_queries_for_five_homes_as_for_one(agency, ask, in_force):
    def queries(settings):
        row = ask(settings)
        with CaptureQueriesContext(connection) as found:
            assert policies.policy_apply(row.pk, moment=at())
        return len(found)

    in_force({"worst_band": "E"})
    make_home(agency)
    one = queries({"worst_band": "D"})
    for _ in range(4):
        make_home(agency)
    assert queries({"worst_band": "C"}) == one <= 40
