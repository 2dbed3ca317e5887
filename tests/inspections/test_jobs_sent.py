"""Jobs that are sent or refused, and how they are listed: tests that begin without a job."""

from datetime import date

import pytest
from django.core.exceptions import ValidationError
from django.db import connection
from django.test.utils import CaptureQueriesContext

from inspections.models import Defect, Job
from inspections.selectors.jobs import listed, rows
from inspections.services import jobs
from notifications.models import Message
from portfolio.models import Event
from tests.factories import DAY, at, make_agency, make_user
from tests.inspections.job_cases import mail_of, make_defects, make_firm, send

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("no_sheet")]


@pytest.fixture
def inspector(agency):
    return make_user(agency, "inspector")


def test_a_job_may_be_of_several_homes(agency, agent, firm):
    homes = [*make_defects(agency, "C2", label="Flat 1"), *make_defects(agency, "C2", label="Flat 9")]
    job, _ = send(firm, homes, agent)
    assert Event.objects.filter(verb="job.sent", subject=f"job:{job.pk}").count() == 2
    text = mail_of(job, "sent").text
    assert "Flat 1, 9 Tannery Row" in text
    assert "2 defects in 2 homes" in text


@pytest.mark.parametrize(
    "why", ["unregistered", "confirmed", "done", "with another", "of another agency", "none"]
)
def test_all_of_a_job_is_sent_or_nothing(agency, agent, firm, defects, inspector, why):
    ids = [defect.pk for defect in defects]
    if why == "unregistered":
        Defect.objects.filter(pk=ids[1]).update(trade="gas", scheme="other", code="danger")
    elif why == "confirmed":
        Defect.objects.filter(pk=ids[1]).update(confirmed=DAY, confirmed_by=inspector)
    elif why == "done":
        Defect.objects.filter(pk=ids[1]).update(completed=DAY)
    elif why == "with another":
        send(make_firm(agency, "Sparks"), defects[1:], agent)
    elif why == "of another agency":
        ids.append(make_defects(make_agency(), "C2")[0].pk)
    else:
        ids = []
    before = Job.objects.count(), Message.objects.count(), Event.objects.count()
    with pytest.raises(ValidationError) as refused:
        jobs.job_send(firm.pk, ids, actor=agent, moment=at())
    assert (Job.objects.count(), Message.objects.count(), Event.objects.count()) == before
    assert all(said.endswith(".") for said in refused.value.messages)
    if why not in ("none", "of another agency"):
        assert "Fault 2" in " ".join(refused.value.messages)


def test_no_more_than_a_mail_can_hold(agent, firm, agency):
    with pytest.raises(ValidationError, match="at most 50"):
        jobs.job_send(firm.pk, range(1, 60), actor=agent, moment=at())


def test_the_list_puts_late_ones_first_and_closed_ones_last(agency, agent, firm):
    late, _ = send(firm, make_defects(agency, "C1"), agent)
    soon, _ = send(firm, make_defects(agency, "C2"), agent)
    shut, _ = send(firm, make_defects(agency, "C2"), agent)
    no_day, _ = send(firm, make_defects(agency, "C2", found=None), agent)
    jobs.job_take_back(shut.pk, why="x", actor=agent, moment=at())
    every = Job.objects.visible_to(agent)
    assert listed(every, day=DAY) == [late.pk, soon.pk, no_day.pk, shut.pk]
    assert listed(every, state="open", day=DAY) == [late.pk, soon.pk, no_day.pk]
    assert listed(every, state="late", day=DAY) == [late.pk]
    assert listed(every, state="taken_back", day=DAY) == [shut.pk]
    assert listed(every, state="declined", day=DAY) == []
    assert listed(every, state="sent", day=DAY) == [late.pk, soon.pk, no_day.pk]
    first, second = rows([late.pk, soon.pk], day=DAY)
    assert (first.late, second.late, second.due) == (True, False, date(2026, 12, 4))


def test_listing_asks_the_same_number_of_questions_however_many_jobs(agency, agent, firm):
    def asked() -> int:
        with CaptureQueriesContext(connection) as queries:
            rows(listed(Job.objects.visible_to(agent), day=DAY), day=DAY)
        return len(queries)

    send(firm, make_defects(agency, "C2"), agent)
    one = asked()
    for _ in range(3):
        send(firm, make_defects(agency, "C1", "C2"), agent)
    assert asked() == one
