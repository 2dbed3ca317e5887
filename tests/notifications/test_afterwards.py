"""What follows from a message that was taken: exactly once, never before, and left for the sweep when it fails."""

from collections.abc import Iterator
from typing import Any

import pytest
from django.db import connection

from notifications import afterwards, sending
from notifications.models import Message
from portfolio.clock import Moment
from tests.factories import make_agency, make_home, make_user, signed_in
from tests.notifications.drafts import put
from tests.portfolio.test_gate_concurrent import together

called: list[tuple[int, Moment]] = []


def after(message: Message, *, at: Moment) -> None:
    """Stands in for what a kind has recorded; its own line goes into the message, within the same transaction."""
    assert connection.in_atomic_block
    assert (message.state, message.sent_at) == ("sent", at.at)
    called.append((message.pk, at))
    done = Message.objects.get(pk=message.pk).data.get("done", 0)
    Message.objects.filter(pk=message.pk).update(data=message.data | {"done": done + 1})
    if message.data.get("fails"):
        raise LookupError("not there")


@pytest.fixture(autouse=True)
def told(settings: Any) -> Iterator[None]:
    settings.NOTIFICATION_AFTER = {"counted": "tests.notifications.test_afterwards.after"}
    called.clear()
    yield
    called.clear()


def put_counted(agency: Any, **more: Any) -> Message:
    return put(agency, kind="counted", follows=True, **more)


def again(message: Message) -> Message:
    return Message.objects.get(pk=message.pk)


@pytest.mark.django_db
def test_it_follows_once_with_the_moment_at_which_it_was_taken(office, now):
    agency = make_agency()
    message, plain = put_counted(agency, unit_id=make_home(agency).pk), put(agency, kind="counted")
    sending.send_waiting(now)
    now.on(minutes=5)
    sending.sweep(now())
    kept = again(message)
    assert called == [(message.pk, Moment(kept.sent_at, kept.sent_at.date()))]
    assert (kept.followed_at, kept.data) == (kept.sent_at, {"done": 1})
    assert (again(plain).state, again(plain).followed_at) == ("sent", None)


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("script", "state"),
    [("rcpt 451 Later", "waiting"), ("rcpt 550 No", "failed"), ("data drop", "unclear")],
)
def test_nothing_follows_from_what_was_not_taken(office, now, script, state):
    message = put_counted(make_agency())
    office.script = lambda recipient, time: script
    sending.send_waiting(now)
    sending.sweep(now())
    assert (again(message).state, again(message).followed_at, called) == (state, None, [])


@pytest.mark.django_db
def test_what_a_dead_process_left_is_recorded_by_the_sweep(office, now):
    message = put_counted(make_agency())
    sending.claim(message, at=now().at)
    sending.record(message, sending.Answer(sending.Outcome.TAKEN, "250 Kept"), at=now().at)
    assert called == []
    now.on(minutes=1)
    sending.sweep(now())
    kept = again(message)
    assert (kept.data, kept.followed_at) == ({"done": 1}, now().at)
    assert called[0][1].at == kept.sent_at != kept.followed_at


@pytest.mark.django_db
def test_what_fails_is_undone_told_and_tried_again(office, now, caplog):
    agency = make_agency()
    message, other = put_counted(agency, data={"fails": True}), put_counted(agency)
    sending.send_waiting(now)
    kept = again(message)
    assert (kept.state, kept.followed_at, kept.data) == ("sent", None, {"fails": True})
    assert again(other).data == {"done": 1}
    assert f"What follows from message {message.pk} cannot be recorded." in caplog.text
    client = signed_in(make_user(agency))
    page = client.get(f"/messages/{message.pk}/").content.decode()
    assert "Sent; what follows is not recorded yet" in page
    Message.objects.filter(pk=message.pk).update(data={})
    sending.sweep(now())
    assert again(message).data == {"done": 1}
    page = client.get(f"/messages/{message.pk}/").content.decode()
    assert "not recorded yet" not in page
    assert len(office.to(message.to_email)) == 1


@pytest.mark.django_db
def test_a_kind_without_a_function_waits_for_one(office, now, settings):
    settings.NOTIFICATION_AFTER = {}
    message = put_counted(make_agency())
    sending.send_waiting(now)
    assert (again(message).state, again(message).followed_at) == ("sent", None)
    settings.NOTIFICATION_AFTER = {"counted": "tests.notifications.test_afterwards.after"}
    assert afterwards.follow_left(moment=now()) == 1


@pytest.mark.django_db(transaction=True)
@pytest.mark.database
def test_many_at_once_record_it_once(office, patient, now):
    agency = make_agency()
    home = make_home(agency)
    messages = [put_counted(agency, unit_id=home.pk) for _ in range(10)]
    together(
        *[lambda: sending.send_waiting(now) and None] * 2,
        *[lambda: afterwards.follow_left(moment=now()) and None] * 2,
    )
    sending.send_waiting(now)
    together(*[lambda: afterwards.follow_left(moment=now()) and None] * 3)
    assert [again(message).data for message in messages] == [{"done": 1}] * 10
