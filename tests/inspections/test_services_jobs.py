"""A job: sent whole or not at all, answered by the contractor, taken back, closed with its last defect."""

import hashlib
from datetime import date, time, timedelta
from uuid import uuid4

import pytest
from django.core.exceptions import ValidationError
from django.db import IntegrityError, transaction

from inspections.models import Contractor, Defect, Job, JobItem, JobLink
from inspections.selectors.jobs import messages_of, state_of
from inspections.services import jobs
from inspections.services.defects import NotAllowed, defect_claim_done, defect_confirm, defect_send_back
from inspections.services.jobs import JobOver, live_link
from notifications.models import Message
from portfolio.models import Event
from portfolio.services.events import verify
from tests.factories import DAY, at, make_agency, make_user
from tests.inspections.job_cases import file_of, mail_of, make_defects, make_firm, send

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("no_sheet")]


@pytest.fixture
def inspector(agency):
    return make_user(agency, "inspector")


def done(job, defect, **more):
    facts = {"on": DAY, "work": "accessory_swap", "moment": at(), **more}
    return jobs.job_claim_done(job.pk, defect.pk, **facts)


def state(job) -> str:
    return state_of(Job.objects.get(pk=job.pk)).code


def test_sending_makes_a_job_its_items_a_link_a_message_and_a_line_of_record(sent, defects, firm):
    job, token = sent
    assert (job.number, job.contractor, job.access_notes) == (1, firm, "Key at no 4.")
    assert list(job.items.values_list("defect_id", flat=True)) == [defect.pk for defect in defects]
    link = job.links.get()
    assert link.token_sha256 == hashlib.sha256(token.encode()).hexdigest()
    assert link.good_until == at().at + timedelta(days=90)
    message = mail_of(job, "sent")
    assert (message.to_email, message.kind, message.urgent) == ("wireco@example.org", "job", True)
    assert f"/j/{token}/" in message.text
    line = Event.objects.get(verb="job.sent")
    assert line.unit_id == defects[0].unit_id
    assert "Fault 1; Fault 2" in line.says
    assert verify(job.agency) is None
    assert state(job) == "sent"


def test_the_secret_is_in_nothing_but_the_mail(sent):
    _, token = sent
    assert token not in str(list(JobLink.objects.values_list()))
    assert token not in str(list(Event.objects.values_list("says", "data")))


@pytest.mark.parametrize("role", ["landlord", "inspector"])
def test_only_an_agent_sends_takes_back_and_replaces_links(agency, job, firm, role):
    user = make_user(agency, role)
    for act in (
        lambda: send(firm, make_defects(agency, "C2"), user),
        lambda: jobs.job_take_back(job.pk, why="x", actor=user, moment=at()),
        lambda: jobs.job_link_new(job.pk, actor=user, moment=at()),
    ):
        with pytest.raises(NotAllowed):
            act()


def test_another_agencys_contractor_and_jobs_are_out_of_reach(job, defects):
    stranger = make_user(make_agency())
    with pytest.raises(Contractor.DoesNotExist):
        send(job.contractor, make_defects(stranger.agency, "C2"), stranger)
    with pytest.raises(NotAllowed):
        jobs.job_take_back(job.pk, why="x", actor=stranger, moment=at())
    with pytest.raises(NotAllowed):
        jobs.job_link_new(job.pk, actor=stranger, moment=at())


def test_jobs_are_numbered_within_their_agency(agency, agent, firm, job):
    second, _ = send(firm, make_defects(agency, "C2"), agent)
    assert second.number == 2
    other = make_agency()
    third, _ = send(make_firm(other), make_defects(other, "C2"), make_user(other))
    assert third.number == 1


def test_the_database_itself_keeps_a_defect_in_one_job(job, defects, firm, agent):
    other = Job.objects.create(agency=job.agency, number=9, contractor=firm, sent_at=at().at, sent_by=agent)
    with pytest.raises(IntegrityError), transaction.atomic():
        JobItem.objects.create(job=other, defect=defects[0])


def test_states_follow_what_was_said(job, defects, inspector):
    assert state(job) == "sent"
    jobs.job_seen(job.pk, moment=at())
    assert state(job) == "seen"
    jobs.job_answer(job.pk, answer="accepted", moment=at())
    assert state(job) == "accepted"
    jobs.job_propose_day(job.pk, day=date(2026, 12, 1), start=time(9), end=time(12), moment=at())
    assert state_of(Job.objects.get(pk=job.pk)).words == "Day proposed: 1 Dec 2026, 09:00 to 12:00"
    done(job, defects[0])
    assert state_of(Job.objects.get(pk=job.pk)).words == "Work said to be done: 1 of 2"
    done(job, defects[1])
    assert state(job) == "done"
    defect_send_back(defects[0].pk, why="No photo.", actor=inspector, moment=at())
    assert state_of(Job.objects.get(pk=job.pk)).words == "Proof sent back: 1 of 2"
    done(job, defects[0])
    for defect in defects:
        defect_confirm(defect.pk, no_paper_why="Like for like.", actor=inspector, moment=at())
    assert state(job) == "confirmed"
    verbs = Event.objects.filter(subject=f"job:{job.pk}").order_by("seq").values_list("verb", flat=True)
    assert list(verbs) == ["job.sent", "job.seen", "job.answered", "job.day_proposed", "job.closed"]
    assert all(event.actor is None for event in Event.objects.filter(verb__in=["job.seen", "job.answered"]))


def test_said_twice_is_recorded_once(job):
    for _ in range(2):
        jobs.job_seen(job.pk, moment=at())
        jobs.job_answer(job.pk, answer="accepted", moment=at())
        jobs.job_propose_day(job.pk, day=DAY, moment=at())
    assert Event.objects.filter(subject=f"job:{job.pk}").count() == 4
    assert Message.objects.filter(key__contains=":day:").count() == 2


def test_the_link_dies_with_the_last_defect(sent, defects, inspector):
    job, token = sent
    for defect in defects:
        assert live_link(token, at()) is not None
        defect_claim_done(defect.pk, on=DAY, work="accessory_swap", actor=make_user(job.agency), moment=at())
        defect_confirm(defect.pk, no_paper_why="Seen.", actor=inspector, moment=at())
    assert live_link(token, at()) is None


@pytest.mark.parametrize(("days", "alive"), [(89, True), (90, False), (91, False)])
def test_a_link_is_good_for_ninety_days(sent, days, alive):
    assert (live_link(sent[1], at(DAY + timedelta(days))) is not None) is alive


def test_a_new_link_kills_the_old_one_and_is_written_to_the_contractor(sent, agent):
    job, old = sent
    new = jobs.job_link_new(job.pk, actor=agent, moment=at())
    assert live_link(old, at()) is None
    assert live_link(new, at()).job == job
    last = Message.objects.filter(key__startswith=f"job:{job.pk}:sent").order_by("pk").last()
    assert f"/j/{new}/" in last.text
    assert "no longer works" in last.text
    assert Event.objects.filter(verb="job.link_replaced").count() == 1


def test_declining_frees_the_defects_and_tells_the_sender(sent, defects, agent, agency):
    job, token = sent
    with pytest.raises(ValidationError):
        jobs.job_answer(job.pk, answer="declined", why=" ", moment=at())
    jobs.job_answer(job.pk, answer="declined", why="Too far.", moment=at())
    assert state_of(Job.objects.get(pk=job.pk)).words == "Declined: Too far."
    assert live_link(token, at()) is None
    message = mail_of(job, "declined")
    assert (message.to_user, message.to_email) == (agent, agent.email)
    assert "Too far." in message.text
    again, _ = send(make_firm(agency, "Sparks"), defects, agent)
    assert state(again) == "sent"
    assert state(job) == "declined"


def test_work_said_to_be_done_is_not_declined_any_more(job, defects):
    done(job, defects[0])
    with pytest.raises(NotAllowed):
        jobs.job_answer(job.pk, answer="declined", why="Too far.", moment=at())


def test_taking_back_frees_the_defects_and_cancels_the_visit(sent, defects, agent, agency):
    job, token = sent
    with pytest.raises(ValidationError):
        jobs.job_take_back(job.pk, why="", actor=agent, moment=at())
    jobs.job_propose_day(job.pk, day=date(2026, 12, 1), moment=at())
    jobs.job_take_back(job.pk, why="Tenant away", actor=agent, moment=at())
    assert state_of(Job.objects.get(pk=job.pk)).words == "Taken back: Tenant away"
    assert live_link(token, at()) is None
    message = mail_of(job, "taken_back")
    assert message.to_email == "wireco@example.org"
    assert b"METHOD:CANCEL" in file_of(message, "visit.ics")
    assert state(send(make_firm(agency, "Sparks"), defects, agent)[0]) == "sent"


def test_a_closed_job_takes_nothing_any_more(job, defects, agent):
    jobs.job_take_back(job.pk, why="Tenant away", actor=agent, moment=at())
    for act in (
        lambda: jobs.job_seen(job.pk, moment=at()),
        lambda: jobs.job_answer(job.pk, answer="accepted", moment=at()),
        lambda: jobs.job_propose_day(job.pk, day=DAY, moment=at()),
        lambda: jobs.job_made_safe(job.pk, defects[0].pk, on=DAY, how="Isolated", moment=at()),
        lambda: done(job, defects[0]),
        lambda: jobs.job_proof_add(job.pk, defects[0].pk, key=uuid4(), accepted=[], says="x", moment=at()),
        lambda: jobs.job_take_back(job.pk, why="again", actor=agent, moment=at()),
        lambda: jobs.job_link_new(job.pk, actor=agent, moment=at()),
    ):
        with pytest.raises(JobOver):
            act()


def test_a_replaced_link_does_nothing_even_if_it_was_looked_up_before(sent, agent):
    job, token = sent
    link = live_link(token, at())
    jobs.job_link_new(job.pk, actor=agent, moment=at())
    with pytest.raises(JobOver):
        jobs.job_answer(job.pk, answer="accepted", link=link, moment=at())


def test_a_defect_of_another_job_cannot_be_reached(job, agency, agent, firm):
    (other,) = make_defects(agency, "C2")
    send(firm, [other], agent)
    with pytest.raises(JobOver):
        done(job, other)


@pytest.mark.parametrize(("ends", "refused"), [(-1, True), (0, False), (1, False)])
def test_work_counts_only_if_the_registration_holds_on_its_day(job, defects, firm, ends, refused):
    firm.registrations.filter(kind="electrical").update(until=DAY + timedelta(ends))
    if refused:
        with pytest.raises(NotAllowed, match="to record it, then send this again"):
            done(job, defects[0])
        assert Defect.objects.get(pk=defects[0].pk).completed is None
    else:
        assert done(job, defects[0]).completed_for == firm


def test_work_done_is_said_with_its_kind_once_and_not_of_tomorrow(job, defects):
    for wrong in ({"work": ""}, {"on": DAY + timedelta(1)}, {"work": "magic"}):
        with pytest.raises(ValidationError):
            done(job, defects[0], **wrong)
    assert done(job, defects[0]).work == "accessory_swap"
    with pytest.raises(NotAllowed):
        done(job, defects[0])


def test_whoever_is_of_the_firm_never_confirms(job, defects, firm, inspector):
    done(job, defects[0])
    firm.people.add(inspector)
    with pytest.raises(NotAllowed):
        defect_confirm(defects[0].pk, no_paper_why="x", actor=inspector, moment=at())


@pytest.mark.parametrize(
    "wrong",
    [
        {"day": DAY - timedelta(1)},
        {"day": DAY + timedelta(367)},
        {"day": DAY, "end": time(9)},
        {"day": DAY, "start": time(9), "end": time(9)},
    ],
)
def test_a_day_that_cannot_be_is_refused(job, wrong):
    with pytest.raises(ValidationError):
        jobs.job_propose_day(job.pk, **wrong, moment=at())
    assert Job.objects.get(pk=job.pk).proposed is None


def test_our_people_read_what_was_written_without_the_secret(sent):
    job, token = sent
    (letter,) = messages_of(job)
    assert token not in letter.text
    assert "known to the contractor alone" in letter.text
    assert letter.files == ["job-1.pdf", "visit.ics"]
