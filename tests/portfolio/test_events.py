"""Promise 3: an altered or missing line of the record shows, and the database refuses to alter one."""

import pytest
from django.db import DatabaseError, connection, transaction

from portfolio.models import Event
from portfolio.services import events
from portfolio.services.events import Happening, Verb, record
from tests.factories import at, make_agency, make_user

pytestmark = [pytest.mark.django_db, pytest.mark.database]


@pytest.fixture
def agency():
    agency = make_agency()
    actor = make_user(agency)
    for number in range(1, 5):
        record(
            [Happening(Verb.UNIT_ADDED, f"unit:{number}", f"Line {number}.", data={"n": number})],
            agency_id=agency.pk,
            actor=actor,
            moment=at(),
        )
    return agency


def without_guards(sql: str, *values: int) -> None:
    """What somebody with the database's own password could do."""
    with connection.cursor() as cursor:
        if connection.vendor == "postgresql":
            cursor.execute("SET CONSTRAINTS ALL IMMEDIATE")
            cursor.execute("ALTER TABLE portfolio_event DISABLE TRIGGER portfolio_event_no_change")
        else:
            cursor.execute("DROP TRIGGER portfolio_event_no_change")
        cursor.execute(sql, values)


def test_an_untouched_chain_holds(agency):
    assert events.verify(agency) is None


@pytest.mark.parametrize("column", ["says", "verb", "subject"])
def test_an_altered_line_shows(agency, column):
    without_guards(f"UPDATE portfolio_event SET {column} = 'x' WHERE seq = 2 AND agency_id = %s", agency.pk)  # noqa: S608
    broken = events.verify(agency)
    assert broken is not None
    assert broken.seq == 2


def test_a_missing_line_shows(agency):
    without_guards("DELETE FROM portfolio_event WHERE seq = 3 AND agency_id = %s", agency.pk)
    broken = events.verify(agency)
    assert broken is not None
    assert broken.seq == 3


def test_the_database_refuses_to_change_a_line(agency):
    with pytest.raises(DatabaseError, match="append-only"), transaction.atomic():
        Event.objects.filter(agency=agency, seq=1).update(says="something else")


def test_chains_of_agencies_are_apart(agency):
    other = make_agency()
    record([Happening(Verb.UNIT_ADDED, "unit:1", "Other.")], agency_id=other.pk, actor=None, moment=at())
    assert other.events.get().seq == 1
    assert events.verify(other) is None


@pytest.mark.django_db(transaction=True)
def test_an_event_outside_a_transaction_is_refused():
    with pytest.raises(transaction.TransactionManagementError):
        record(
            [Happening(Verb.UNIT_ADDED, "unit:1", "x")], agency_id=make_agency().pk, actor=None, moment=at()
        )
