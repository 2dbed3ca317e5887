"""What an app leaves is a row of its own transaction, and one call for it to be sent."""

import pytest
from django.db import transaction

from notifications import outbox
from notifications.models import Message
from portfolio import celery
from tests.factories import at, make_agency
from tests.notifications.drafts import put

pytestmark = pytest.mark.django_db(transaction=True)


def put_and_fail(agency):
    with transaction.atomic():
        put(agency)
        raise RuntimeError


@pytest.fixture
def calls(monkeypatch):
    """What was asked of the broker."""
    made = []
    monkeypatch.setattr(celery.app, "send_task", lambda name, *a, **k: made.append(name))
    return made


def test_it_is_asked_to_be_sent_once_the_transaction_commits(calls):
    agency = make_agency()
    with transaction.atomic():
        put(agency)
        assert calls == []
    assert calls == ["notifications.send_waiting"]


def test_many_messages_of_one_transaction_ask_once(calls):
    agency = make_agency()
    with transaction.atomic():
        for _ in range(5):
            put(agency)
    assert calls == ["notifications.send_waiting"]
    assert Message.objects.count() == 5


def test_what_is_rolled_back_asks_for_nothing_and_leaves_nothing(calls):
    agency = make_agency()
    with pytest.raises(RuntimeError):
        put_and_fail(agency)
    assert (calls, Message.objects.count()) == ([], 0)


def test_a_savepoint_that_is_rolled_back_takes_its_asking_with_it_and_no_other(calls):
    agency = make_agency()
    with transaction.atomic():
        with pytest.raises(RuntimeError):
            put_and_fail(agency)
        put(agency)
    assert calls == ["notifications.send_waiting"]
    assert Message.objects.count() == 1


def test_a_broker_that_is_away_is_no_error_to_whoever_writes(monkeypatch):
    def refused(*args, **kwargs):
        raise OSError("Connection refused")

    monkeypatch.setattr(celery.app, "send_task", refused)
    message = put(make_agency())
    assert Message.objects.get(pk=message.pk).state == "waiting"


def test_the_same_key_again_is_the_same_message(calls):
    agency = make_agency()
    message = put(agency, key="cause:1")
    with transaction.atomic():
        draft = outbox.Draft("cause:1", "test", "Why", agency.pk, "Bo", "bo@example.org", "Other", "Other")
        assert outbox.put(draft, at=at().at) is None
    assert Message.objects.get().subject == message.subject


def test_a_message_outside_a_transaction_is_refused():
    draft = outbox.Draft("cause:1", "test", "Why", 1, "Bo", "bo@example.org", "Subject", "Text")
    with pytest.raises(transaction.TransactionManagementError):
        outbox.put(draft, at=at().at)
