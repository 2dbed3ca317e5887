"""House policies under odd conditions: clocks, order, homes that join, and hands at the database."""

from datetime import UTC, date, datetime

import pytest
from celery.exceptions import OperationalError
from django.db import DatabaseError, connection, transaction
from django.urls import reverse
from hypothesis import given

from portfolio import tasks
from portfolio.clock import moment_of
from portfolio.law.evaluate import evaluate
from portfolio.law.lawbook import Lawbook
from portfolio.law.loader import load
from portfolio.law.model import CODES, PURPOSES, Building, Unit
from portfolio.law.policy import Policy, with_policy
from portfolio.models import Event, HousePolicy
from portfolio.policy_words import warnings_in_words
from portfolio.services import policies
from tests.factories import at, make_agency, make_user, put_in_force, signed_in
from tests.portfolio.law.strategies import asked, buildings, units

pytestmark = [pytest.mark.database]
BAND_B = {"worst_band": "B"}
BOOK = load()
STRICTEST = with_policy(
    BOOK,
    Policy.of(
        {
            "also_dangers": {scheme: list(codes) for scheme, codes in CODES.items()},
            "worst_band": "A",
            "alarm_test_months": 1,
            "gas_margin_days": 366,
            "electrical_margin_days": 366,
            "energy_margin_days": 366,
            "warnings_that_bar": list(warnings_in_words(BOOK)),
        },
        BOOK,
    ),
)
LAXEST = with_policy(
    BOOK, Policy.of({"worst_band": "G", "alarm_test_months": 60, "gas_margin_days": 1}, BOOK)
)


@pytest.mark.parametrize("book", [STRICTEST, LAXEST], ids=["strictest", "laxest"])
@given(buildings, units, asked)
def test_no_policy_clears_what_the_law_bars_or_lets_it_last_longer(
    book: Lawbook, building: Building, unit: Unit, day: date
) -> None:
    plain, stricter = evaluate(BOOK, building, unit, day), evaluate(book, building, unit, day)
    for purpose in PURPOSES:
        law, house = getattr(plain, purpose), getattr(stricter, purpose)
        kept = {(one.requirement, one.kind, one.of) for one in house.bars}
        assert {(one.requirement, one.kind, one.of) for one in law.bars} <= kept
        if house.clear and law.until is not None:
            assert house.until is not None
            assert house.until <= law.until


@pytest.fixture
def agent(db):
    return make_user(make_agency())


@pytest.mark.parametrize(
    ("minute", "day"), [(59, "30 June 2027"), (60, "1 July 2027")], ids=["before midnight", "midnight"]
)
def test_in_summer_the_record_tells_the_london_day(agent, minute, day):
    asked_at = moment_of(datetime(2027, 6, 30, 22 + minute // 60, minute % 60, tzinfo=UTC))
    how = {"why": "Asked.", "actor": agent, "moment": asked_at}
    policies.policy_ask(agent.agency, BAND_B, **how)
    row = policies.policy_ask(agent.agency, {"worst_band": "C"}, **how)
    policies.policy_apply(row.pk, moment=asked_at)
    asked_again, came_in = Event.objects.filter(subject=f"policy:{row.pk}").order_by("seq")
    assert f"the one asked for on {day}, which" in asked_again.says
    assert f"asked for on {day} came into force" in came_in.says


@pytest.mark.usefixtures("noon")
def test_the_order_of_ticked_boxes_is_no_difference(agent):
    shown = list(warnings_in_words(BOOK))
    two = next([a, b] for a, b in zip(shown, shown[1:], strict=False) if a > b)
    row = put_in_force(agent.agency, {"warnings_that_bar": two}, actor=agent)
    typed = {"warnings_that_bar": two, "why": "Again.", "seen": str(row.pk), "check": "1"}
    response = signed_in(agent).post(reverse("policy_change"), typed)
    assert "Nothing here differs from what is asked already." in response.content.decode()


@pytest.mark.usefixtures("noon")
def test_homes_that_keep_joining_while_a_page_puts_it_into_force_are_no_broken_page(agent, monkeypatch):
    def away(pk):
        raise OperationalError

    def joined(pk, *, moment):
        raise policies.HomesJoined

    monkeypatch.setattr(tasks.policy_apply, "delay", away)
    monkeypatch.setattr(policies, "policy_apply", joined)
    typed = {"worst_band": "B", "why": "Asked.", "seen": "0", "save": "1"}
    response = signed_in(agent).post(reverse("policy_change"), typed, follow=True)
    assert "comes into force when the worker is back" in response.content.decode()
    assert policies.waiting() == [HousePolicy.objects.get().pk]


CHANGES = {
    "settings": "settings = '{}'",
    "why": "why = 'Another reason.'",
    "asked_at": "asked_at = '2020-01-01 00:00:00+00:00'",
    "asked_by": "asked_by_id = NULL",
    "agency": "agency_id = (SELECT max(id) FROM portfolio_agency)",
    "in force at another time": "in_force_at = '2020-01-01 00:00:00+00:00'",
    "not in force": "in_force_at = NULL",
}


@pytest.mark.parametrize("change", CHANGES.values(), ids=CHANGES.keys())
def test_the_database_refuses_to_change_a_policy(agent, change):
    make_agency()
    row = put_in_force(agent.agency, BAND_B, actor=agent)
    with pytest.raises(DatabaseError, match="append-only"), transaction.atomic():
        connection.cursor().execute(f"UPDATE portfolio_housepolicy SET {change}")  # noqa: S608
    again = HousePolicy.objects.get()
    assert (again.settings, again.why, again.in_force_at) == (BAND_B, row.why, at().at)


def test_a_policy_that_waits_comes_into_force_and_changes_in_nothing_else(agent):
    policies.policy_ask(agent.agency, BAND_B, why="Asked.", actor=agent, moment=at())
    with pytest.raises(DatabaseError, match="append-only"), transaction.atomic():
        HousePolicy.objects.update(in_force_at=at().at, settings={})
    HousePolicy.objects.update(in_force_at=at().at)
    assert HousePolicy.objects.get().settings == BAND_B


def test_postgresql_refuses_to_delete_a_policy(agent):
    """SQLite cannot: test databases are emptied row by row there."""
    policies.policy_ask(agent.agency, BAND_B, why="Asked.", actor=agent, moment=at())
    if connection.vendor == "postgresql":
        with pytest.raises(DatabaseError, match="append-only"), transaction.atomic():
            HousePolicy.objects.all().delete()
    assert HousePolicy.objects.count() == 1
