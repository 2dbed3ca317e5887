"""Signs of life, kept seldom and yet true."""

import pytest

from notifications import life, sending, tasks
from notifications.models import LifeSign
from portfolio.demo.programs import free_port
from tests.factories import make_agency
from tests.notifications.drafts import put

pytestmark = pytest.mark.django_db


def signs() -> dict[str, object]:
    return dict(LifeSign.objects.values_list("part", "at"))


def test_mail_that_is_taken_is_noted_at_most_once_a_minute(office, now, django_assert_num_queries):
    agency = make_agency()
    began = now().at
    for _ in range(3):
        put(agency)
    sending.send_waiting(now)
    assert signs() == {"mail_taken": began}
    now.on(seconds=59)
    put(agency)
    sending.send_waiting(now)
    assert signs() == {"mail_taken": began}
    now.on(seconds=1)
    put(agency)
    sending.send_waiting(now)
    assert signs() == {"mail_taken": now().at}
    with django_assert_num_queries(1):
        life.seen(life.MAIL_TAKEN, at=now().at)


def test_trouble_is_noted_with_what_it_is_and_the_next_mail_ends_it(office, settings, now):
    agency, right = make_agency(), settings.EMAIL_PORT
    put(agency)
    sending.send_waiting(now)
    now.on(seconds=10)
    settings.EMAIL_PORT = free_port()
    put(agency)
    sending.send_waiting(now)
    trouble = LifeSign.objects.get(part="mail_trouble")
    assert trouble.at == now().at
    assert f"127.0.0.1:{settings.EMAIL_PORT} cannot be reached" in trouble.says
    now.on(seconds=10)
    sending.send_waiting(now)
    assert signs()["mail_trouble"] == trouble.at
    settings.EMAIL_PORT = right
    sending.send_waiting(now)
    assert signs()["mail_taken"] == now().at > trouble.at


def test_a_server_that_breaks_every_connection_is_trouble(office, now):
    office.script = lambda recipient, time: "rcpt drop"
    agency = make_agency()
    for _ in range(4):
        put(agency)
    sending.send_waiting(now)
    assert "breaks every connection" in LifeSign.objects.get().says


def test_the_clock_is_seen_at_each_sweep(office):
    tasks.sweep()
    first = signs()["beat"]
    tasks.sweep()
    assert signs()["beat"] > first
