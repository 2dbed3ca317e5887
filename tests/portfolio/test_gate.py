"""Promise 1 in the small: a mark is refused over a bar and withdrawn the moment one appears or its day comes."""

from dataclasses import replace
from datetime import date, timedelta

import pytest

from inspections.models import Defect
from inspections.services.defects import defect_claim_done, defect_confirm, defect_record
from portfolio import gate, house_policy, standing
from portfolio.exchange import portfolio1
from portfolio.law import model as law
from portfolio.law.evaluate import as_json, evaluate
from portfolio.law.loader import load
from portfolio.law.policy import Policy, with_policy
from portfolio.models import Clearance, Event
from portfolio.services import events
from portfolio.services.certificates import certificate_add
from tests.factories import CLEAR_FLAT, DAY, at, make_agency, make_home, make_user, without

pytestmark = [pytest.mark.django_db, pytest.mark.database]


@pytest.fixture
def agency():
    return make_agency()


@pytest.fixture
def agent(agency):
    return make_user(agency, "agent")


def record_c2(home, actor, day=DAY):
    return defect_record(
        home.pk,
        scheme="bs7671",
        code="C2",
        title="Socket loose, live parts within reach",
        found=day,
        actor=actor,
        moment=at(day),
    )


def test_a_clear_home_is_marked_and_the_grounds_are_kept(agency, agent):
    home = make_home(agency)
    clearance = gate.mark(home.pk, "let", actor=agent, moment=at())
    assert clearance.until == date(2027, 5, 20)
    assert clearance.packs == clearance.unit.standing.packs


def test_a_clearance_can_be_replayed_from_what_it_stored(agency, agent):
    home = make_home(agency)
    clearance = Clearance.objects.get(pk=gate.mark(home.pk, "let", actor=agent, moment=at()).pk)
    kept = portfolio1.from_tree(clearance.facts)
    book = with_policy(load(), Policy.of(clearance.policy, load()))
    replayed = evaluate(book, kept.buildings[0], kept.units[0], clearance.marked_on)
    assert as_json(replayed) == clearance.answer


@pytest.mark.parametrize("purpose", ["let", "sale"])
def test_a_home_without_an_epc_is_refused_with_reason_and_cure(agency, agent, purpose):
    home = make_home(agency, certificates=without(CLEAR_FLAT, "p1").certificates)
    with pytest.raises(gate.Barred) as refused:
        gate.mark(home.pk, purpose, actor=agent, moment=at())
    assert {reason.requirement for reason in refused.value.reasons} == {"ew_epc"}
    assert all(reason.cure and reason.source for reason in refused.value.reasons)
    assert not Clearance.objects.exists()
    assert Event.objects.filter(verb="clearance.refused").count() == 1


@pytest.mark.parametrize("missing", ["alarms", "certificates", "defects"])
def test_a_list_nobody_recorded_bars_the_let(agency, agent, missing):
    home = make_home(agency, **{missing: None})
    with pytest.raises(gate.Barred) as refused:
        gate.mark(home.pk, "let", actor=agent, moment=at())
    assert "unknown" in {reason.kind for reason in refused.value.reasons}


def test_recording_a_c2_withdraws_both_marks_with_an_event(agency, agent):
    home = make_home(agency)
    for purpose in ("let", "sale"):
        gate.mark(home.pk, purpose, actor=agent, moment=at())
    record_c2(home, agent)
    ended = Clearance.objects.filter(unit=home, withdrawn_on=DAY, withdrawn_by=None)
    assert ended.count() == 2
    assert all(clearance.withdrawn_why for clearance in ended)
    assert Event.objects.filter(verb="clearance.withdrawn", unit=home).count() == 2


def test_the_bar_lifts_only_when_a_second_person_confirms(agency, agent):
    home, inspector = make_home(agency), make_user(agency, "inspector")
    defect = record_c2(home, agent)
    defect_claim_done(defect.pk, on=DAY, work="accessory_swap", actor=agent, moment=at())
    with pytest.raises(gate.Barred):
        gate.mark(home.pk, "let", actor=agent, moment=at())
    defect_confirm(defect.pk, actor=inspector, moment=at())
    assert gate.mark(home.pk, "let", actor=agent, moment=at()).withdrawn_at is None


def test_a_danger_that_goes_does_not_bring_the_mark_back(agency, agent):
    home, inspector = make_home(agency), make_user(agency, "inspector")
    gate.mark(home.pk, "let", actor=agent, moment=at())
    defect = record_c2(home, agent)
    defect_claim_done(defect.pk, on=DAY, work="accessory_swap", actor=agent, moment=at())
    defect_confirm(defect.pk, actor=inspector, moment=at())
    assert not Clearance.objects.filter(unit=home, withdrawn_at=None).exists()


@pytest.mark.parametrize(
    ("day", "live"), [(date(2027, 5, 19), True), (date(2027, 5, 20), True), (date(2027, 5, 21), False)]
)
def test_the_nightly_task_withdraws_a_mark_whose_day_has_come(agency, agent, day, live):
    home = make_home(agency)
    clearance = gate.mark(home.pk, "let", actor=agent, moment=at())
    standing.catch_up(at(day))
    clearance.refresh_from_db()
    assert (clearance.withdrawn_at is None) is live
    assert gate.live_on(clearance, day) is live


def test_a_mark_past_its_day_is_not_live_even_before_anyone_looked(agency, agent):
    clearance = gate.mark(make_home(agency).pk, "let", actor=agent, moment=at())
    assert gate.live_on(clearance, date(2027, 5, 20))
    assert not gate.live_on(clearance, date(2027, 5, 21))


def test_the_nightly_task_touches_only_homes_whose_day_has_come(agency, django_assert_num_queries):
    home = make_home(agency)
    assert standing.due_units(DAY) == []
    assert standing.due_units(home.standing.changes_on - timedelta(days=1)) == []
    assert standing.due_units(home.standing.changes_on) == [home.pk]
    with django_assert_num_queries(2):
        standing.catch_up(at(home.standing.changes_on - timedelta(days=1)))


def test_marked_homes_are_asked_about_before_the_others(agency, agent):
    make_home(agency)
    marked = make_home(agency)
    clearance = gate.mark(marked.pk, "let", actor=agent, moment=at())
    assert standing.catch_up(at(date(2027, 5, 21)), limit=1) == 1
    clearance.refresh_from_db()
    assert clearance.withdrawn_at is not None


def test_running_the_nightly_task_twice_changes_nothing_more(agency, agent):
    home = make_home(agency)
    gate.mark(home.pk, "let", actor=agent, moment=at())
    assert standing.catch_up(at(date(2027, 5, 21))) == 1
    events_before = Event.objects.count()
    assert standing.catch_up(at(date(2027, 5, 21))) == 0
    assert Event.objects.count() == events_before


def test_marking_twice_is_one_mark(agency, agent):
    home = make_home(agency)
    first = gate.mark(home.pk, "let", actor=agent, moment=at())
    assert gate.mark(home.pk, "let", actor=agent, moment=at()) == first
    assert Clearance.objects.count() == 1


@pytest.mark.parametrize(("day", "ended"), [(date(2027, 5, 20), False), (date(2027, 5, 21), True)])
def test_a_mark_whose_grounds_ran_out_gives_way_to_one_on_newer_grounds(agency, agent, day, ended):
    home = make_home(agency)
    first = gate.mark(home.pk, "let", actor=agent, moment=at())
    checked = (law.ApplianceCheck("boiler", "safe"),)
    paper = law.Certificate("g9", "gas_safety_record", inspected=date(2027, 4, 1), appliances=checked)
    certificate_add(home.pk, paper, actor=agent, moment=at(date(2027, 4, 1)))
    second = gate.mark(home.pk, "let", actor=agent, moment=at(day))
    first.refresh_from_db()
    assert (second != first, first.withdrawn_at is not None) == (ended, ended)
    assert gate.live_on(second, day)
    if ended:
        assert (first.withdrawn_by, first.withdrawn_why) == (None, "its grounds ran out after 20 May 2027.")
        assert second.until == date(2028, 3, 14)


def test_taking_a_mark_back_needs_one_and_keeps_the_reason(agency, agent):
    home = make_home(agency)
    gate.mark(home.pk, "let", actor=agent, moment=at())
    clearance = gate.unmark(home.pk, "let", why="The owner moves in.", actor=agent, moment=at())
    assert (clearance.withdrawn_by, clearance.withdrawn_why) == (agent, "The owner moves in.")
    with pytest.raises(gate.NotMarked):
        gate.unmark(home.pk, "let", why="again", actor=agent, moment=at())


def test_every_step_leaves_a_chain_that_holds(agency, agent):
    home = make_home(agency)
    gate.mark(home.pk, "let", actor=agent, moment=at())
    record_c2(home, agent)
    assert events.verify(agency) is None
    assert list(agency.events.values_list("seq", flat=True)) == list(range(1, agency.events.count() + 1))


def test_the_stored_answer_is_the_answer_of_the_law(agency):
    home = make_home(agency)
    asked = standing.on_day([home.pk], DAY)[home.pk]
    assert home.standing.answer == standing.stored_answer(asked)
    said = as_json(asked)
    applies = [one for one in said["requirements"] if one["state"] != "not_applicable"]
    assert home.standing.answer == said | {"requirements": applies}
    assert (home.standing.let_until, home.standing.sale_until) == (date(2027, 5, 20), date(2030, 9, 9))


def test_refreshing_many_homes_costs_a_fixed_number_of_queries(agency, django_assert_num_queries):
    few = [make_home(agency).pk for _ in range(2)]
    many = few + [make_home(agency).pk for _ in range(8)]
    with django_assert_num_queries(11):
        standing.on_day(few, DAY)
    with django_assert_num_queries(11):
        standing.on_day(many, DAY)


def test_a_home_in_another_nation_is_asked_about_by_its_law(agency, agent):
    from tests.factories import BUILDING, take_in

    portfolio = law.Portfolio(
        (replace(BUILDING, ref="elsewhere", nation="wales"),),
        (replace(CLEAR_FLAT, ref="w1", building="elsewhere", alarms=()),),
    )
    (pk,) = take_in(portfolio, agency=agency, actor=agent, moment=at()).unit_ids
    with pytest.raises(gate.Barred) as barred:
        gate.mark(pk, "let", actor=agent, moment=at())
    assert {reason.requirement for reason in barred.value.reasons} == {"wal_alarms"}


def test_the_database_refuses_a_second_live_mark(agency, agent):
    from django.db import IntegrityError, transaction

    clearance = gate.mark(make_home(agency).pk, "let", actor=agent, moment=at())
    clearance.pk = None
    with pytest.raises(IntegrityError), transaction.atomic():
        clearance.save(force_insert=True)


def test_defects_are_facts_of_the_home(agency, agent):
    home = make_home(agency)
    record_c2(home, agent)
    (fact,) = standing.facts_of([home.pk])[home.pk][1].defects
    assert (fact.code, fact.ref) == ("C2", Defect.objects.get().ref)


def test_a_new_release_of_the_law_is_asked_about_everywhere(agency, agent, monkeypatch):
    home = make_home(agency)
    assert standing.due_units(DAY) == []
    monkeypatch.setattr(house_policy, "held", lambda mark="": "england 2099.1")
    monkeypatch.setattr(standing, "held", lambda mark="": "england 2099.1")
    assert standing.due_units(DAY) == [home.pk]
    assert standing.catch_up(at()) == 1
    assert standing.due_units(DAY) == []
