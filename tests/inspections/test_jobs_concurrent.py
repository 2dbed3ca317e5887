"""Jobs sent, answered and closed at the same time, on whatever database the tests run on."""

from contextlib import suppress
from functools import partial

import pytest
from django.core.exceptions import ValidationError

from inspections.models import Defect, Job, JobItem
from inspections.services import jobs
from inspections.services.defects import NotAllowed, defect_confirm
from notifications.models import Message
from portfolio.services.events import verify
from tests.factories import DAY, at, make_agency, make_user
from tests.inspections.job_cases import make_defects, make_firm, send
from tests.portfolio.test_gate_concurrent import together

pytestmark = [pytest.mark.django_db(transaction=True), pytest.mark.database]


@pytest.fixture(autouse=True)
def _no_sheet(monkeypatch):
    monkeypatch.setattr("inspections.services.job_mail.job_sheet", lambda *_, **__: b"%PDF-")


@pytest.fixture
def agency():
    return make_agency()


@pytest.fixture
def agent(agency):
    return make_user(agency)


def test_of_two_jobs_with_the_same_defect_one_is_sent(agency, agent):
    firms = [make_firm(agency, "Wire"), make_firm(agency, "Sparks")]
    for _ in range(4):
        defects = make_defects(agency, "C2", "C2")
        sent = []

        def try_it(firm, chosen, sent=sent):
            with suppress(ValidationError):
                sent.append(send(firm, chosen, agent))

        together(partial(try_it, firms[0], defects), partial(try_it, firms[1], defects[1:]))
        assert len(sent) == 1
        assert JobItem.objects.filter(defect=defects[1], ended_at=None).count() == 1
    assert Message.objects.filter(kind="job").count() == Job.objects.count() == 4


def test_jobs_of_different_homes_are_sent_at_once_each_with_its_number(agency, agent):
    """Nobody waits for the other for ever, and no number is given twice."""
    firms = [make_firm(agency, f"Firm {letter}") for letter in "abcd"]
    for _ in range(3):
        homes = [make_defects(agency, "C2") for _ in firms]
        together(*(partial(send, firm, home, agent) for firm, home in zip(firms, homes, strict=True)))
    numbers = sorted(Job.objects.values_list("number", flat=True))
    assert numbers == list(range(1, 13))
    assert verify(agency) is None


def test_a_contractor_and_an_agent_at_once_leave_no_half_of_a_job(agency, agent):
    inspector, firm = make_user(agency, "inspector"), make_firm(agency)
    for _ in range(4):
        home, other = make_defects(agency, "C2", label="Flat 1"), make_defects(agency, "C2", label="Flat 9")
        job, _ = send(firm, [*home, *other], agent)
        for defect in (*home, *other):
            jobs.job_claim_done(job.pk, defect.pk, on=DAY, work="small_electrical", moment=at())

        def confirm(defect):
            with suppress(NotAllowed):
                defect_confirm(defect.pk, no_paper_why="Seen.", actor=inspector, moment=at())

        def take_back(job=job):
            with suppress(NotAllowed):
                jobs.job_take_back(job.pk, why="Enough.", actor=agent, moment=at())

        def propose(job=job):
            with suppress(NotAllowed):
                jobs.job_propose_day(job.pk, day=DAY, moment=at())

        together(partial(confirm, home[0]), partial(confirm, other[0]), take_back, propose)
        job.refresh_from_db()
        assert job.closed_at is not None
        assert not job.items.filter(ended_at=None).exists()
        assert not job.links.filter(dead_at=None).exists()
        assert Defect.objects.filter(pk__in=[home[0].pk, other[0].pk], confirmed=DAY).count() == 2
    assert verify(agency) is None
