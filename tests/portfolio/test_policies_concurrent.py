"""A policy coming into force among writers, on SQLite and PostgreSQL: no home stays marked that it bars."""

import threading
from collections.abc import Callable
from contextlib import suppress
from dataclasses import replace
from itertools import count

import pytest
from django.db import connection, transaction

from portfolio import gate, house_policy, standing
from portfolio.law import model as law
from portfolio.models import Clearance, Event, HousePolicy, Unit
from portfolio.services import events, policies
from portfolio.services.take_in import take_in
from portfolio.services.write import locked_units
from tests.factories import BUILDING, CLEAR_FLAT, DAY, at, make_agency, make_home, make_user
from tests.portfolio.test_gate_concurrent import together

pytestmark = [pytest.mark.django_db(transaction=True), pytest.mark.database]
STRICT, LAX = {"worst_band": "B"}, {"worst_band": "C"}
"""Every home here has band C."""
number = count(1)


def marked_and_barred(agency: object) -> list[str]:
    """Live marks to let while the strict policy is in force, read in one snapshot."""
    with transaction.atomic():
        if connection.vendor == "postgresql":
            connection.cursor().execute("SET TRANSACTION ISOLATION LEVEL REPEATABLE READ")
        strict = house_policy.settings_of(agency.pk) == STRICT
        live = Clearance.objects.filter(withdrawn_at=None, purpose="let", unit__agency=agency)
        return [mark.unit.ref for mark in live.select_related("unit") if strict]


def new_home(agency: object, agent: object) -> int:
    """A home in a building of its own, so that taking it in waits for no lock on another home."""
    ref = f"house-{next(number)}"
    house = law.Portfolio((replace(BUILDING, ref=ref),), (replace(CLEAR_FLAT, ref=ref, building=ref),))
    return take_in(house, agency=agency, actor=agent, moment=at()).unit_ids[0]


def marking(homes: Callable[[], list[int]], agent: object, times: int) -> Callable[[], None]:
    def run() -> None:
        for _ in range(times):
            for pk in homes():
                with suppress(gate.Barred):
                    gate.mark(pk, "let", actor=agent, moment=at())

    return run


def test_marks_and_a_policy_at_once_never_leave_a_barred_home_marked():
    agency = make_agency()
    agent = make_user(agency)
    homes = [make_home(agency, agent).pk for _ in range(3)]
    for settings in (STRICT, LAX) * 4:
        row = policies.policy_ask(agency, settings, why="Tried.", actor=agent, moment=at())
        together(
            marking(lambda: homes, agent, 2),
            lambda pk=row.pk: policies.policy_apply(pk, moment=at()) and None,
            lambda pk=row.pk: policies.policy_apply(pk, moment=at()) and None,
        )
        assert marked_and_barred(agency) == []
        assert Event.objects.filter(verb="policy.came_in", subject=f"policy:{row.pk}").count() == 1
    assert events.verify(agency) is None


def test_a_home_taken_in_and_marked_while_a_policy_comes_into_force_is_caught():
    """The race of a home that was not there yet when the homes of the agency were locked."""
    agency = make_agency()
    agent = make_user(agency)
    new_home(agency, agent)  # with the landlord of all of them
    for settings in (STRICT, LAX) * 3:
        row = policies.policy_ask(agency, settings, why="Tried.", actor=agent, moment=at())

        def take_in_and_mark() -> None:
            for _ in range(4):
                pk = new_home(agency, agent)
                with suppress(gate.Barred):
                    gate.mark(pk, "let", actor=agent, moment=at())

        def apply(pk: int = row.pk) -> None:
            with suppress(policies.HomesJoined):
                policies.policy_apply(pk, moment=at())

        together(take_in_and_mark, apply, take_in_and_mark)
        assert marked_and_barred(agency) == []
        policies.policy_apply(row.pk, moment=at())
        assert marked_and_barred(agency) == []
        assert standing.due_units(DAY) == []
    assert Unit.objects.count() == 49
    assert events.verify(agency) is None


def test_two_people_asking_at_once_follow_each_other():
    agency = make_agency()
    one, two = make_user(agency), make_user(agency)

    def ask(settings: dict, actor: object) -> Callable[[], None]:
        return lambda: policies.policy_ask(agency, settings, why="x", actor=actor, moment=at()) and None

    together(ask(STRICT, one), ask(LAX, two))
    together(*[lambda pk=pk: policies.policy_apply(pk, moment=at()) and None
               for pk in HousePolicy.objects.values_list("pk", flat=True)])  # fmt: skip
    older, newer = HousePolicy.objects.order_by("pk")
    assert (older.in_force_at, newer.in_force_at) == (None, at().at)
    assert house_policy.settings_of(agency.pk) == newer.settings
    assert events.verify(agency) is None


@pytest.mark.slow
def test_no_snapshot_ever_shows_a_barred_home_marked():
    agency = make_agency()
    agent = make_user(agency)
    homes = [make_home(agency, agent).pk for _ in range(3)]
    marking(lambda: homes, agent, 1)()
    seen, done = [], threading.Event()

    def watch() -> None:
        try:
            while not done.is_set():
                seen.extend(marked_and_barred(agency))
        finally:
            connection.close()

    def policy() -> None:
        for settings in (STRICT, LAX) * 5:
            row = policies.policy_ask(agency, settings, why="Tried.", actor=agent, moment=at())
            policies.policy_apply(row.pk, moment=at())

    watching = threading.Thread(target=watch)
    watching.start()
    try:
        together(policy, marking(lambda: homes, agent, 8), marking(lambda: homes, agent, 8))
    finally:
        done.set()
        watching.join()
    assert seen == []
    assert Event.objects.filter(verb="clearance.withdrawn").exists()


def elsewhere(job: Callable[[], object]) -> None:
    """Do the job as another writer would: on SQLite, where no other may write meanwhile, in this transaction."""
    if connection.vendor == "sqlite":
        job()
    else:
        together(lambda: job() and None)


def test_a_home_that_joins_while_the_others_are_being_locked_is_not_missed(monkeypatch):
    agency = make_agency()
    agent = make_user(agency)
    new_home(agency, agent)
    row = policies.policy_ask(agency, STRICT, why="Tried.", actor=agent, moment=at())
    locked = []

    def join() -> None:
        gate.mark(new_home(agency, agent), "let", actor=agent, moment=at())

    def lock(ids: list[int]) -> list[Unit]:
        locked.append(ids)
        found = locked_units(ids)
        if len(locked) == 1:
            elsewhere(join)
        return found

    monkeypatch.setattr(policies, "locked_units", lock)
    assert policies.policy_apply(row.pk, moment=at())
    assert len(locked) == 2
    assert marked_and_barred(agency) == []
    assert standing.due_units(DAY) == []


def test_where_homes_keep_joining_nothing_comes_into_force(monkeypatch):
    agency = make_agency()
    agent = make_user(agency)
    new_home(agency, agent)
    row = policies.policy_ask(agency, STRICT, why="Tried.", actor=agent, moment=at())
    monkeypatch.setattr(policies, "locked_units", lambda ids: new_home(agency, agent) and locked_units(ids))
    with pytest.raises(policies.HomesJoined):
        policies.policy_apply(row.pk, moment=at())
    assert (Unit.objects.count(), house_policy.settings_of(agency.pk)) == (1, {})
    assert policies.waiting() == [row.pk]
