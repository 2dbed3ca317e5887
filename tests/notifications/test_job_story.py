"""A job through the post, from its invitation to its end, read as a contractor's mail and calendar programs read it.

Invitations by RFC 5546: one UID all its life, a SEQUENCE that rises, CANCEL when it is off; by RFC 6047 the type of
the part says the method that stands in it.
"""

from datetime import date, time
from email.message import EmailMessage

import pytest
from icalendar import Calendar

from inspections.models import Defect
from inspections.services.jobs import (
    job_answer,
    job_claim_done,
    job_link_new,
    job_propose_day,
    job_send,
    job_take_back,
)
from inspections.services.judgements import defect_confirm
from notifications import sending
from notifications.models import Message
from tests.factories import DAY, at, make_agency, make_user
from tests.inspections.job_cases import make_defects, make_firm, send
from tests.published.rfc5545 import faults

pytestmark = pytest.mark.django_db
TUESDAY, WEDNESDAY = date(2026, 12, 1), date(2026, 12, 2)


@pytest.fixture(autouse=True)
def _no_sheet(monkeypatch):
    monkeypatch.setattr("inspections.services.job_mail.job_sheet", lambda *_, **__: b"%PDF-1.7 sheet")


@pytest.fixture
def agent():
    return make_user(make_agency("Latchford; Lettings, Ltd"), email="ann@example.org")


@pytest.fixture
def firm(agent):
    return make_firm(agent.agency, "Wire & Co", "electrical")


@pytest.fixture
def job(agent, firm):
    return send(firm, make_defects(agent.agency, "C2", "C2"), agent)[0]


@pytest.fixture
def post(office, now):
    """What came to an address since it was asked last, each mail with the entry in it."""
    seen: dict[str, int] = {}

    def come(to: str) -> list[tuple[EmailMessage, Calendar | None]]:
        sending.send_waiting(now)
        assert not Message.objects.filter(state__in=("failed", "unclear", "waiting")).exists()
        mails = office.to(to)[seen.get(to, 0) :]
        seen[to] = len(office.to(to))
        return [(mail, entry_in(mail)) for mail in mails]

    return come


def entry_in(mail: EmailMessage) -> Calendar | None:
    """The entry of a mail, once all that holds for any is seen to hold for it."""
    assert mail.get_body(("plain",)).get_content().strip()
    assert mail.get_body(("html",)).get_content().strip()
    files = [part for part in mail.iter_attachments() if part.get_content_type() == "text/calendar"]
    if not files:
        return None
    (file,) = files
    content = file.get_payload(decode=True)
    assert isinstance(content, bytes)
    assert faults(content) == []
    calendar = Calendar.from_ical(content)
    assert file["Content-Type"].params["method"] == calendar["method"]
    assert file["Content-Type"].params["charset"] == "utf-8"
    (event,) = calendar.walk("VEVENT")
    (sender,) = mail["From"].addresses
    assert event["organizer"] == f"mailto:{sender.addr_spec}"
    (reader,) = mail["To"].addresses
    invited = event.get("attendee", None)
    # Whoever is invited is whom it is sent to; a copy for somebody else invites nobody (RFC 5546, 3.2.1).
    assert invited in (None, f"mailto:{reader.addr_spec}")
    assert calendar["method"] != "REQUEST" or invited is not None
    assert calendar["method"] != "PUBLISH" or invited is None
    return calendar


def told(entry: Calendar) -> tuple[str, str, int, object]:
    """Method, UID, SEQUENCE and the day."""
    (event,) = entry.walk("VEVENT")
    return str(entry["method"]), str(event["uid"]), int(event["sequence"]), event["dtstart"].dt


def status(entry: Calendar) -> str:
    return str(entry.walk("VEVENT")[0]["status"])


def all_done(job) -> None:
    for item in job.items.filter(ended_at=None):
        job_claim_done(job.pk, item.defect_id, on=DAY, work="small_electrical", moment=at())


def confirmed(job, agent, day: date = DAY) -> None:
    inspector = make_user(agent.agency, "inspector")
    for item in job.items.filter(ended_at=None):
        defect_confirm(item.defect_id, no_paper_why="Small work.", actor=inspector, moment=at(day))


def test_one_job_from_its_invitation_to_being_taken_back(job, agent, firm, post):
    ((mail, entry),) = post(firm.email)
    uid = f"job-{job.pk}@example.org"
    assert told(entry) == ("REQUEST", uid, 0, date(2026, 12, 4))
    assert status(entry) == "TENTATIVE"
    assert mail["Subject"].startswith("Job 1: 2 defects")

    job_propose_day(job.pk, day=TUESDAY, start=time(9), end=time(11), moment=at())
    ((_, entry),), ((_, copy),) = post(firm.email), post(agent.email)
    assert told(entry)[:3] == ("REQUEST", uid, 1)
    assert (told(entry)[3].date(), status(entry)) == (TUESDAY, "CONFIRMED")
    assert told(copy) == ("PUBLISH", uid, 1, told(entry)[3])

    job_propose_day(job.pk, day=WEDNESDAY, moment=at())
    ((_, entry),), ((_, copy),) = post(firm.email), post(agent.email)
    assert told(entry) == ("REQUEST", uid, 2, WEDNESDAY)
    assert told(copy) == ("PUBLISH", uid, 2, WEDNESDAY)

    job_take_back(job.pk, why="The tenant is away.", actor=agent, moment=at())
    ((mail, entry),), ((news, copy),) = post(firm.email), post(agent.email)
    assert told(entry) == ("CANCEL", uid, 3, WEDNESDAY)
    assert told(copy) == ("CANCEL", uid, 3, WEDNESDAY)
    assert status(entry) == status(copy) == "CANCELLED"
    assert mail["Subject"] == "Do not go to Job 1: it is taken back"
    assert news["Subject"] == "Job 1: Wire & Co does not come on 2 Dec 2026"


def test_what_is_sent_to_another_contractor_is_an_entry_of_its_own(job, agent, firm, post):
    defects = list(job.items.values_list("defect_id", flat=True))
    ((_, first),) = post(firm.email)
    job_take_back(job.pk, why="No answer.", actor=agent, moment=at())
    other = make_firm(agent.agency, "Spark & Sons", "electrical")
    job_send(other.pk, defects, actor=agent, moment=at())
    ((_, ended),), ((_, second),) = post(firm.email), post(other.email)
    assert told(ended)[:3] == ("CANCEL", told(first)[1], 1)
    assert told(second)[:1] + told(second)[2:] == ("REQUEST", 0, date(2026, 12, 4))
    assert told(second)[1] != told(first)[1]
    assert post(agent.email) == []


def test_what_is_taken_back_is_cancelled_though_all_of_it_is_said_to_be_done(job, agent, firm, post):
    ((_, first),) = post(firm.email)
    all_done(job)
    job_take_back(job.pk, why="It was another fault.", actor=agent, moment=at())
    ((_, ended),) = post(firm.email)
    assert told(ended) == ("CANCEL", told(first)[1], 1, date(2026, 12, 4))


def test_a_job_that_is_confirmed_takes_the_day_to_come_out_of_both_calendars(job, agent, firm, post):
    job_propose_day(job.pk, day=TUESDAY, moment=at())
    post(firm.email), post(agent.email)
    all_done(job)
    confirmed(job, agent)
    ((mail, entry),) = post(firm.email)
    assert told(entry) == ("CANCEL", f"job-{job.pk}@example.org", 2, TUESDAY)
    assert mail["Subject"] == "Job 1 is closed: nothing is left to do"
    news = {mail["Subject"]: entry for mail, entry in post(agent.email)}
    assert told(news["Job 1: Wire & Co does not come on 1 Dec 2026"])[:3] == ("CANCEL", told(entry)[1], 2)


def test_a_job_that_is_confirmed_after_its_day_stays_in_the_calendars(job, agent, firm, post, now):
    job_propose_day(job.pk, day=DAY, moment=at())
    post(firm.email), post(agent.email)
    all_done(job)
    now.at = at(date(2026, 11, 26)).at
    confirmed(job, agent, date(2026, 11, 26))
    assert post(firm.email) == []
    assert not any(entry for _, entry in post(agent.email))


def test_a_declined_job_is_taken_out_of_the_calendars_of_both(job, agent, firm, post):
    job_propose_day(job.pk, day=TUESDAY, moment=at())
    post(firm.email), post(agent.email)
    job_answer(job.pk, answer="declined", why="Too far.", moment=at())
    ((mail, entry),), ((news, copy),) = post(firm.email), post(agent.email)
    assert told(entry) == told(copy) == ("CANCEL", f"job-{job.pk}@example.org", 2, TUESDAY)
    assert mail["Subject"] == "Job 1: you declined it"
    assert news["Subject"] == "Job 1 declined by Wire & Co"


def test_a_job_without_any_day_is_never_in_a_calendar_and_is_cancelled_in_none(agent, firm, post):
    job, _ = send(firm, make_defects(agent.agency, "C2", found=None), agent)
    job_take_back(job.pk, why="Sold.", actor=agent, moment=at())
    assert [entry for _, entry in post(firm.email)] == [None]


def test_a_new_link_brings_a_later_entry_because_its_day_may_have_moved(job, agent, firm, post, now):
    """What is late is put on today, so the entry of a job without a proposed day moves with each new link."""
    ((_, first),) = post(firm.email)
    later = at(date(2026, 12, 20))
    now.at = later.at
    job_link_new(job.pk, actor=agent, moment=later)
    ((_, second),) = post(firm.email)
    assert told(second) == ("REQUEST", told(first)[1], 1, date(2026, 12, 20))
    job_propose_day(job.pk, day=date(2026, 12, 22), moment=later)
    job_link_new(job.pk, actor=agent, moment=later)
    found = [told(entry) for _, entry in post(firm.email)]
    assert found == [("REQUEST", told(first)[1], 2, date(2026, 12, 22))] * 2


def test_cancelled_before_any_of_it_was_sent_leaves_no_entry_behind(job, agent, firm, post):
    """The invitation is withdrawn; a program that never heard of an entry passes over its end."""
    job_take_back(job.pk, why="Sold.", actor=agent, moment=at())
    assert [entry["method"] for _, entry in post(firm.email)] == ["CANCEL"]
    assert Defect.objects.filter(items__job=job).count() == 2
