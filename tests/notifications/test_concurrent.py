"""Several at once, on SQLite and PostgreSQL: what is claimed, swept, held and withdrawn is never in two hands."""

from collections import Counter
from contextlib import suppress

import pytest
from django.db import transaction

from notifications import outbox, sending, services
from notifications.models import Message
from tests.factories import at, make_agency, make_user
from tests.notifications.drafts import put
from tests.portfolio.test_gate_concurrent import together

pytestmark = [pytest.mark.django_db(transaction=True), pytest.mark.database]


def test_workers_at_once_send_each_message_once(office, patient, now):
    agency = make_agency()
    for _ in range(40):
        put(agency)
    together(*[lambda: sending.send_waiting(now) and None] * 3)
    sending.send_waiting(now)
    assert set(Counter(name for name, _ in office.came).values()) == {1}
    assert len(office.came) == Message.objects.filter(state="sent", tries=1).count() == 40


def test_sweeps_at_once_count_a_lost_answer_once(now):
    message = put(make_agency())
    sending.claim(message, at=now().at)
    now.on(hours=1)
    together(*[lambda: sending.sweep(now()) and None] * 4)
    assert Message.objects.get().lost == 1


def test_what_is_held_or_withdrawn_while_it_is_sent_is_either_sent_or_kept_back(office, patient, now):
    agency = make_agency()
    agent = make_user(agency)
    messages = [put(agency, key=f"cause:{number}") for number in range(30)]

    def hold() -> None:
        for message in messages[::3]:
            with suppress(services.NotPossible):  # it is sent already, or just now
                services.message_hold(message.pk, actor=agent, moment=now())

    def withdraw() -> None:
        for message in messages[1::3]:
            outbox.withdraw(key=message.key, why="Gone.", at=now().at)

    together(hold, withdraw, lambda: sending.send_waiting(now) and None)
    sending.sweep(now())
    came = {name for name, _ in office.came}
    for message in Message.objects.all():
        assert (message.to_email in came) == (message.state == "sent")
        assert message.state in ("sent", "held", "withdrawn")


def test_the_same_cause_at_once_is_one_message():
    agency = make_agency()
    draft = outbox.Draft("same:1", "test", "Why", agency.pk, "Bo", "bo@example.org", "Subject", "Text")

    def write() -> None:
        with transaction.atomic():
            outbox.put(draft, at=at().at)

    together(*[write] * 4)
    assert Message.objects.count() == 1
