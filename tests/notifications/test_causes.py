"""A message whose cause is gone when its turn comes: jobs closed, links replaced, days moved, dangers put right."""

from datetime import date

import pytest

from inspections.causes import danger_gone, job_gone
from inspections.models import Defect
from inspections.services.jobs import job_link_new, job_propose_day, job_take_back
from notifications import sending
from notifications.models import Message
from notifications.words import HIDDEN
from portfolio.law import model as law
from tests.factories import at, make_agency, make_home, make_user
from tests.inspections.job_cases import FOUND, make_defects, make_firm, send

pytestmark = pytest.mark.django_db


@pytest.fixture
def agent():
    return make_user(make_agency())


@pytest.fixture
def sent(agent):
    """A job on its way, and the secret of its link."""
    return send(make_firm(agent.agency), make_defects(agent.agency, "C2"), agent)


def kept(**which: object) -> Message:
    return Message.objects.get(**which)


def test_a_job_goes_out_with_its_link_which_is_then_blanked(sent, office, now):
    job, token = sent
    sending.send_waiting(now)
    (mail,) = office.to(job.contractor.email)
    assert token in mail.get_body(("plain",)).get_content()
    assert token in mail.get_body(("html",)).get_content()
    (address,) = mail["Reply-To"].addresses
    assert address.addr_spec == job.sent_by.email
    message = kept(kind="job")
    assert (message.state, message.secrets) == ("sent", "")
    assert token not in message.text + message.html
    assert HIDDEN in message.text


def test_a_job_taken_back_before_it_was_sent_is_withdrawn_and_its_end_is_told(sent, agent, office, now):
    job, token = sent
    job_take_back(job.pk, why="The tenant is away.", actor=agent, moment=at())
    sending.send_waiting(now)
    message = kept(key__contains=":sent:")
    assert (message.state, message.withdrawn_why) == ("withdrawn", "Job 1 was closed before this was sent.")
    assert token not in message.text + message.html
    assert [mail["Subject"] for _, mail in office.came] == ["Do not go to Job 1: it is taken back"]


def test_only_the_living_link_is_sent(sent, agent, office, now):
    job, old = sent
    new = job_link_new(job.pk, actor=agent, moment=at())
    sending.send_waiting(now)
    (mail,) = office.to(job.contractor.email)
    text = mail.get_body(("plain",)).get_content()
    assert new in text
    assert old not in text
    assert kept(state="withdrawn").withdrawn_why == "Job 1 has a new link, so this one is dead."


def test_only_the_last_day_proposed_is_told(sent, now, office):
    job, _ = sent
    for day in (1, 2):
        job_propose_day(job.pk, day=date(2026, 12, day), moment=at())
    sending.send_waiting(now)
    about = Message.objects.filter(key__contains=":day:")
    assert about.filter(state="sent", subject__contains="2 Dec 2026").count() == 2
    gone = about.filter(state="withdrawn")
    assert set(gone.values_list("withdrawn_why", flat=True)) == {"Another day was proposed for Job 1 since."}
    assert gone.count() == 2


def test_a_danger_is_told_until_it_is_confirmed_as_put_right(agent):
    danger = law.Defect("d1", "bs7671", "C1", "Bare wires", FOUND)
    home = make_home(agent.agency, agent, defects=(danger,))
    defect = Defect.objects.get(unit=home)
    message = Message(key=f"danger:{defect.pk}:{agent.pk}")
    assert danger_gone(message) == ""
    Defect.objects.filter(pk=defect.pk).update(completed=FOUND, confirmed=FOUND)
    assert danger_gone(message) == "The danger was confirmed as put right before this was sent."


@pytest.mark.parametrize("part", ["declined", "taken_back"])
def test_the_end_of_a_job_is_told_though_it_is_closed(sent, agent, part):
    job, _ = sent
    job_take_back(job.pk, why="Sold.", actor=agent, moment=at())
    assert job_gone(Message(key=f"job:{job.pk}:{part}")) == ""
