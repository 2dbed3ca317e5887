"""What was on record at the end of an earlier day: later corrections, removals and confirmations must not show."""

from collections.abc import Callable
from dataclasses import replace
from datetime import date, timedelta
from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st

from inspections.services.defects import defect_claim_done, defect_confirm, defect_record
from portfolio.clock import end_of
from portfolio.facts import facts_known, facts_of
from portfolio.law import model as law
from portfolio.models import ApplianceCheck, Certificate, Tenancy, Unit
from portfolio.services import homes as service
from portfolio.services.certificates import certificate_add, certificate_correct
from portfolio.services.take_in import take_in
from tests.factories import BUILDING, CLEAR_FLAT, DAY, at, make_agency, make_home, make_user

pytestmark = [pytest.mark.django_db, pytest.mark.database]

FIRST = DAY - timedelta(days=10)


@pytest.fixture
def agency():
    return make_agency()


@pytest.fixture
def agent(agency):
    return make_user(agency)


@pytest.fixture
def home(agency):
    return make_home(agency, day=FIRST)


def known(home: Unit, day: date) -> Any:
    facts = facts_known(home.pk, end_of(day))
    return None if facts is None else facts[1]


def now(home: Unit) -> Any:
    return facts_of([home.pk])[home.pk]


def edit(home: Unit, actor: Any, day: date, **changes: Any) -> None:
    building, unit = now(home)
    service.home_edit(
        home.pk,
        building=building,
        unit=replace(unit, **changes),
        why="It was so.",
        actor=actor,
        moment=at(day),
    )


def test_a_home_is_not_known_before_the_day_it_was_recorded(home):
    assert known(home, FIRST - timedelta(days=1)) is None
    assert known(home, FIRST) == now(home)[1]


def test_a_corrected_paper_stands_as_it_did(home, agent):
    paper = home.certificates.get(ref="e1")
    was = next(c for c in now(home)[1].certificates if c.ref == "e1")
    wrong = replace(was, inspected=date(2021, 3, 14))
    certificate_correct(paper.pk, wrong, why="Misread.", actor=agent, moment=at())
    assert was in known(home, DAY - timedelta(days=1)).certificates
    assert wrong in known(home, DAY).certificates


def test_a_withdrawn_paper_stood_until_then(home, agent):
    paper = home.certificates.get(ref="e1")
    was = next(c for c in now(home)[1].certificates if c.ref == "e1")
    gone = replace(was, withdrawn=FIRST)
    certificate_correct(paper.pk, gone, why="Entered by mistake.", actor=agent, moment=at())
    assert was in known(home, DAY - timedelta(days=1)).certificates


def test_a_result_taken_off_a_gas_record_stood_until_then(home, agent):
    paper = home.certificates.get(ref="g1")
    was = next(c for c in now(home)[1].certificates if c.ref == "g1")
    certificate_correct(paper.pk, replace(was, appliances=()), why="Misread.", actor=agent, moment=at())
    assert not ApplianceCheck.objects.filter(certificate=paper).exists()
    assert was in known(home, DAY - timedelta(days=1)).certificates
    assert replace(was, appliances=()) in known(home, DAY).certificates


def test_an_alarm_taken_out_was_there_until_then(home, agent):
    first, second = now(home)[1].alarms
    edit(home, agent, DAY, alarms=(second,))
    assert known(home, DAY - timedelta(days=1)).alarms == (first, second)
    assert known(home, DAY).alarms == (second,)


def test_what_stood_in_a_room_that_was_taken_out_stands_there_still(home, agent):
    unit = now(home)[1]
    kept = tuple(room for room in unit.rooms if room.ref != "hall")
    alarms = tuple(
        replace(alarm, room="bed" if alarm.room == "hall" else alarm.room) for alarm in unit.alarms
    )
    edit(home, agent, DAY, rooms=kept, alarms=alarms)
    assert known(home, DAY - timedelta(days=1)).alarms == unit.alarms
    assert known(home, DAY) == now(home)[1]


def test_a_defect_confirmed_later_was_open(home, agency, agent):
    defect = defect_record(
        home.pk, scheme="bs7671", code="C2", title="Loose", found=FIRST, actor=agent, moment=at(FIRST)
    )
    certificate = law.Certificate("", "minor_works", issued=FIRST)
    certificate_add(home.pk, certificate, document=None, actor=agent, moment=at(FIRST))
    defect_claim_done(
        defect.pk, on=FIRST, work="accessory_swap", actor=agent, moment=at(DAY - timedelta(days=2))
    )
    defect_confirm(defect.pk, actor=make_user(agency, "inspector"), moment=at())
    (before,), (between,), (after,) = (known(home, DAY - timedelta(days=ago)).defects for ago in (3, 1, 0))
    assert (before.completed, before.confirmed) == (None, None)
    assert (between.completed, between.confirmed) == (FIRST, None)
    assert after.confirmed == DAY


def test_a_list_not_recorded_then_is_not_known_rather_than_empty(agency, agent):
    home = make_home(agency, day=FIRST, tenancies=None, events=None, marketing=None)
    service.tenancy_add(home.pk, law.Tenancy("", FIRST, FIRST), actor=agent, moment=at())
    service.marketing_add(home.pk, law.Marketing("let", FIRST), actor=agent, moment=at())
    service.act_add(home.pk, law.Act("aware", None, "tenant", FIRST, "09:30"), actor=agent, moment=at())
    then = known(home, DAY - timedelta(days=1))
    assert (then.tenancies, then.marketing, then.events) == (None, None, None)
    assert known(home, DAY) == now(home)[1]


def test_a_tenancy_whose_end_came_later_ran_on(home, agent):
    tenancy: Tenancy = service.tenancy_add(
        home.pk, law.Tenancy("", FIRST, FIRST), actor=agent, moment=at(FIRST)
    )
    service.tenancy_end(tenancy.pk, ends=DAY, actor=agent, moment=at())
    assert known(home, DAY - timedelta(days=1)).tenancies[0].ends is None
    assert known(home, DAY).tenancies[0].ends == DAY


def test_an_import_shows_from_the_day_it_was_taken_in(home, agency):
    building, unit = now(home)
    renamed = law.Portfolio(
        (replace(building, storeys=4),), (replace(unit, label="Garden flat", landlord_ref="L-new"),)
    )
    take_in(renamed, agency=agency, actor=None, moment=at())
    before = facts_known(home.pk, end_of(DAY - timedelta(days=1)))
    assert before == (building, unit)
    assert facts_known(home.pk, end_of(DAY)) == now(home)
    assert now(home)[1].landlord_ref == "L-new"


@pytest.mark.parametrize(
    ("day", "utc"),
    [(date(2026, 7, 1), "2026-07-01T23:00:00+00:00"), (date(2026, 11, 25), "2026-11-26T00:00:00+00:00")],
)
def test_a_day_ends_at_midnight_in_london(day, utc):
    assert end_of(day).isoformat() == utc


def test_it_takes_the_same_queries_however_much_is_on_record(home, agent):
    with CaptureQueriesContext(connection) as few:
        known(home, DAY)
    for ago in range(6):
        paper = law.Certificate("", "pat", inspected=FIRST - timedelta(days=ago))
        certificate_add(home.pk, paper, document=None, actor=agent, moment=at())
        paper_row = Certificate.objects.latest("pk")
        changed = replace(paper, ref=paper_row.ref, number=str(ago))
        certificate_correct(paper_row.pk, changed, why="More.", actor=agent, moment=at())
    with CaptureQueriesContext(connection) as more:
        known(home, DAY)
    assert len(more) == len(few) <= 14


CHANGES: dict[str, Callable[[law.Unit], dict[str, Any]]] = {
    "label": lambda unit: {"label": f"{unit.label}a"},
    "people": lambda unit: {"occupancy": law.Occupancy(3, 2, None)},
    "no alarms": lambda unit: {"alarms": ()},
    "alarms unknown": lambda unit: {"alarms": None},
    "one alarm": lambda unit: {"alarms": CLEAR_FLAT.alarms[:1] if unit.rooms else ()},
    "no appliances": lambda unit: {"appliances": ()},
    "a boiler": lambda unit: {"appliances": (law.Appliance("boiler", "oil_boiler"),)},
    "rooms again": lambda unit: {"rooms": CLEAR_FLAT.rooms},
}


@settings(max_examples=12, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(steps=st.lists(st.sampled_from(sorted(CHANGES)), min_size=1, max_size=6))
@example(steps=["no alarms", "one alarm", "no appliances", "a boiler"])
def test_each_day_is_remembered_as_it_was(agency, agent, steps):
    """After every change the past reads as facts_of read it then, and the present as it reads now."""
    home = make_home(agency, day=FIRST)
    seen = {FIRST: now(home)}
    for n, step in enumerate(steps, start=1):
        day = FIRST + timedelta(days=n)
        edit(home, agent, day, **CHANGES[step](now(home)[1]))
        seen[day] = now(home)
    assert BUILDING.ref == seen[FIRST][0].ref
    for day, facts in seen.items():
        assert facts_known(home.pk, end_of(day)) == facts
