"""Changing the facts of a home by hand: exact, with history, and the standing follows at once."""

from dataclasses import replace
from datetime import date

import pytest
from django.core.exceptions import ValidationError

from portfolio import gate
from portfolio.facts import facts_of
from portfolio.law import model as law
from portfolio.models import Appliance, Event, Unit
from portfolio.services.homes import (
    DangerGoes,
    act_add,
    home_edit,
    mark_of,
    marketing_add,
    tenancy_add,
    tenancy_end,
)
from tests.factories import BUILDING, CLEAR_FLAT, at, make_agency, make_home, make_user

pytestmark = [pytest.mark.django_db, pytest.mark.database]


@pytest.fixture
def agency():
    return make_agency()


@pytest.fixture
def agent(agency):
    return make_user(agency)


@pytest.fixture
def home(agency):
    return make_home(agency)


def edit(home, agent, *, building=None, why="", seen=None, **changes):
    before_building, before = facts_of([home.pk])[home.pk]
    return home_edit(
        home.pk,
        building=replace(before_building, **(building or {})),
        unit=replace(before, **changes),
        why=why,
        seen=seen,
        actor=agent,
        moment=at(),
    )


def facts(home) -> law.Unit:
    return facts_of([home.pk])[home.pk][1]


def test_saving_what_is_there_changes_nothing(home, agent):
    events = Event.objects.count()
    assert edit(home, agent) == []
    assert Event.objects.count() == events
    assert facts(home) == replace(CLEAR_FLAT, ref=home.ref)


def test_a_fact_can_go_back_to_not_recorded_and_then_bars(home, agent):
    assert edit(home, agent, letting=law.Letting()) == ["letting"]
    assert not Unit.objects.get(pk=home.pk).standing.let_clear


def test_a_list_can_go_back_to_not_recorded(home, agent):
    gate.mark(home.pk, "let", actor=agent, moment=at())
    edit(home, agent, alarms=None)
    assert facts(home).alarms is None
    assert home.clearances.get().withdrawn_at is not None


def test_a_boiler_taken_out_stays_on_record(home, agent):
    changed = edit(home, agent, appliances=())
    assert "appliances boiler (removed)" in changed
    assert facts(home).appliances == ()
    assert Appliance.objects.get(unit=home).removed == at().day


def test_a_boiler_put_back_is_the_same_boiler(home, agent):
    edit(home, agent, appliances=())
    edit(home, agent, appliances=CLEAR_FLAT.appliances)
    assert facts(home) == replace(CLEAR_FLAT, ref=home.ref)
    assert Appliance.objects.count() == 1


def test_an_appliance_in_a_room_that_is_not_there_is_refused(home, agent):
    with pytest.raises(ValidationError, match="kitchen"):
        edit(home, agent, rooms=CLEAR_FLAT.rooms[:1], alarms=CLEAR_FLAT.alarms[:1])
    assert facts(home).rooms == CLEAR_FLAT.rooms


def test_a_new_gas_fire_nobody_checked_withdraws_the_mark(home, agent):
    gate.mark(home.pk, "let", actor=agent, moment=at())
    fire = law.Appliance("fire", "gas_fire", "lounge", "landlord", date(2010, 1, 1))
    edit(home, agent, appliances=(*CLEAR_FLAT.appliances, fire))
    assert home.clearances.get().withdrawn_at is not None


def test_a_building_fact_is_asked_again_for_every_home_in_it(agency, home, agent):
    neighbour = make_home(agency)
    gate.mark(neighbour.pk, "sale", actor=agent, moment=at())
    changed = edit(home, agent, building={"nation": None})
    assert changed == ["building.nation"]
    assert neighbour.clearances.get().withdrawn_at is not None


def test_tenancies_get_refs_of_their_own_and_an_end(home, agent):
    first = tenancy_add(home.pk, law.Tenancy("", starts=date(2026, 1, 1)), actor=agent, moment=at())
    second = tenancy_add(home.pk, law.Tenancy("", starts=date(2026, 12, 1)), actor=agent, moment=at())
    assert [first.ref, second.ref] == ["tenancy-1", "tenancy-2"]
    tenancy_end(first.pk, ends=date(2026, 11, 30), actor=agent, moment=at())
    assert facts(home).tenancies[0].ends == date(2026, 11, 30)


def test_a_tenancy_that_ends_before_it_starts_is_refused(home, agent):
    backwards = law.Tenancy("", starts=date(2026, 2, 1), ends=date(2026, 1, 31))
    with pytest.raises(ValidationError):
        tenancy_add(home.pk, backwards, actor=agent, moment=at())
    assert facts(home).tenancies == ()


def test_marketing_and_acts_are_recorded_with_an_event(home, agent):
    marketing_add(home.pk, law.Marketing("sale", date(2026, 11, 20)), actor=agent, moment=at())
    act_add(home.pk, law.Act("copy_given", "e1", "tenant", date(2026, 11, 21)), actor=agent, moment=at())
    assert facts(home).marketing == (law.Marketing("sale", date(2026, 11, 20)),)
    assert facts(home).events[-1] == law.Act("copy_given", "e1", "tenant", date(2026, 11, 21))
    assert set(home.events.values_list("verb", flat=True)) >= {"marketing.added", "act.recorded"}


def test_an_act_about_nothing_in_the_home_is_refused(home, agent):
    before = facts(home).events
    with pytest.raises(ValidationError, match="Nothing in this home has the ref 'e9'"):
        act_add(home.pk, law.Act("copy_given", "e9", "tenant"), actor=agent, moment=at())
    assert facts(home).events == before


def test_history_says_who_and_when(home, agent):
    edit(home, agent, label="Flat 2A", building={"storeys": 4})
    unit, building = Unit.objects.get(pk=home.pk), home.building
    for record in (unit.history.first(), building.history.first()):
        assert (record.history_user, record.history_date) == (agent, at().at)
    assert BUILDING.storeys == building.history.last().storeys


BOILER = CLEAR_FLAT.appliances[0]
FAILED = law.Certificate(
    "g2",
    "gas_safety_record",
    inspected=date(2026, 11, 2),
    appliances=(law.ApplianceCheck("boiler", "id"),),
)
UNSATISFACTORY = law.Certificate("e1", "eicr", inspected=date(2026, 3, 14), outcome="unsatisfactory")


@pytest.mark.parametrize(
    "appliances",
    [
        (),
        None,
        (replace(BOILER, installed=date(2026, 11, 25)),),
        (replace(BOILER, owner="tenant"),),
        (replace(BOILER, kind="oil_boiler"),),
        (replace(BOILER, ref="boiler-2", installed=date(2026, 11, 25)),),
    ],
)
def test_a_danger_goes_with_a_change_of_facts_only_with_a_reason_that_is_kept(agency, agent, appliances):
    home = make_home(agency, certificates=(FAILED,))
    with pytest.raises(DangerGoes, match="failed its last gas check"):
        edit(home, agent, appliances=appliances)
    assert facts(home).appliances == (BOILER,)
    edit(home, agent, appliances=appliances, why="Scrapped, and a new one put in.")
    last = Event.objects.filter(unit=home).last()
    assert "failed its last gas check" in last.says
    assert last.says.endswith("Why: Scrapped, and a new one put in.")
    assert last.data["why"] == "Scrapped, and a new one put in."


def test_a_neighbour_s_danger_needs_its_reason_too(agency, agent):
    home = make_home(agency)
    neighbour = make_home(agency, landlord="registered_provider", certificates=(UNSATISFACTORY,))
    with pytest.raises(DangerGoes, match="unsatisfactory"):
        edit(home, agent, building={"nation": "scotland"})
    edit(home, agent, building={"nation": "scotland"}, why="It stands north of the border.")
    assert "north of the border" in Event.objects.filter(unit=neighbour).last().says


def test_other_facts_of_a_dangerous_home_change_without_more_ado(agency, agent):
    home = make_home(agency, certificates=(FAILED, UNSATISFACTORY))
    assert edit(home, agent, label="Flat 2B") == ["label"]


def test_facts_that_somebody_else_changed_meanwhile_are_not_changed_back(home, agent):
    seen = mark_of(facts_of([home.pk])[home.pk])
    edit(home, agent, alarms=(replace(CLEAR_FLAT.alarms[0], working=False), CLEAR_FLAT.alarms[1]))
    with pytest.raises(ValidationError, match="somebody else"):
        edit(home, agent, alarms=CLEAR_FLAT.alarms, seen=seen)
    assert facts(home).alarms[0].working is False


def test_what_is_not_on_the_page_may_change_meanwhile(home, agent):
    seen = mark_of(facts_of([home.pk])[home.pk])
    tenancy_add(home.pk, law.Tenancy("", starts=date(2026, 12, 1)), actor=agent, moment=at())
    assert edit(home, agent, label="Flat 2B", seen=seen) == ["label"]
