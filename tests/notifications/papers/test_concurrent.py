"""Several at once, on SQLite and PostgreSQL: a form is one mail, a mail one act, a contractor asked once."""

from contextlib import suppress
from functools import partial

import pytest
from django.core.exceptions import ValidationError

from notifications import afterwards, sending
from notifications.models import Message
from notifications.papers.renewal import renewal_ask, renewals_of
from portfolio.models import Act, Event
from portfolio.services import events
from portfolio.services.certificates import certificate_correct
from tests.factories import DAY, at, make_agency, make_home, make_user
from tests.notifications.papers.cases import (
    ask,
    make_gas_firm,
    owed,
    paper,
    rented,
    send,
    with_file,
    withdrawn,
)
from tests.portfolio.test_gate_concurrent import together

pytestmark = [pytest.mark.django_db(transaction=True), pytest.mark.database, pytest.mark.usefixtures("noon")]


@pytest.fixture
def agent():
    return make_user(make_agency())


@pytest.fixture
def home(agent):
    home = rented(agent.agency)
    with_file(paper(home, "g2"))
    return home


def count(home, verb):
    return Event.objects.filter(unit=home, verb=verb).count()


def test_the_same_form_from_several_windows_is_one_mail(agent, home):
    asked = ask(home, "g2")
    together(*[lambda: send(home, asked, agent, key="k") and None] * 4)
    assert Message.objects.count() == count(home, "papers.sent") == 1


def test_workers_and_sweeps_at_once_record_one_act(agent, home, office, patient, now):
    send(home, ask(home, "g2"), agent)
    sweep = partial(afterwards.follow_left, moment=now())
    together(*[lambda: sending.send_waiting(now) and None] * 2, *[lambda: sweep() and None] * 2)
    sweep()
    assert len(office.came) == 1
    assert Act.objects.filter(unit=home, of="g2").count() == count(home, "papers.taken") == 1
    assert owed(home) == []
    assert events.verify(agent.agency) is None


def test_a_paper_withdrawn_while_its_mail_goes_is_counted_before_that_or_not_at_all(
    agent, home, office, patient, now
):
    message = send(home, ask(home, "g2"), agent)
    row = paper(home, "g2")

    def take_back() -> None:
        certificate_correct(row.pk, withdrawn(row), why="Not ours.", actor=agent, moment=at())

    together(take_back, lambda: sending.send_waiting(now) and None)
    afterwards.follow_left(moment=now())
    state = Message.objects.get(pk=message.pk).state
    acts = Act.objects.filter(unit=home, of="g2").count()
    assert (state, len(office.came)) in (("withdrawn", 0), ("sent", 1))
    if state == "withdrawn":
        assert acts == 0
        return
    line = Event.objects.get(unit=home, verb="papers.taken")
    corrected = Event.objects.get(unit=home, verb="certificate.corrected")
    assert acts == (1 if line.seq < corrected.seq else 0)


def test_a_contractor_asked_from_two_windows_is_asked_once(agent):
    home, firm = make_home(agent.agency), make_gas_firm(agent.agency)
    due = next(one.due for one in renewals_of(home, DAY) if one.code == "gb_gas_check")

    def press() -> None:
        with suppress(ValidationError):
            renewal_ask(home.pk, "gb_gas_check", due, firm.pk, actor=agent, moment=at())

    together(*[press] * 4)
    assert Message.objects.count() == count(home, "renewal.asked") == 1
