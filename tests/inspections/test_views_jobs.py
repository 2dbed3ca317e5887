"""Jobs on the agency's pages: found, chosen, looked at before sending, taken back."""

from datetime import timedelta

import icalendar
import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from inspections.models import Job
from inspections.services import jobs
from notifications.models import Message
from tests.factories import DAY, at, make_agency, make_user, signed_in
from tests.inspections.job_cases import make_defects, make_firm, send

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("noon", "no_sheet")]


@pytest.fixture
def sent(firm, defects, agent):
    """Not in common: most of these tests begin without a job."""
    return send(firm, defects, agent)


@pytest.fixture
def client(agent):
    return signed_in(agent)


def text(response) -> str:
    return " ".join(response.content.decode().split())


def new(*defects) -> str:
    return reverse("job_new") + "?" + "&".join(f"defect={defect.pk}" for defect in defects)


def typed(firm, *defects, **more):
    return {
        "defect": [defect.pk for defect in defects],
        "contractor": firm.pk,
        "access_notes": "Key.",
        **more,
    }


def test_choosing_shows_who_may_be_sent_it_and_why_others_may_not(client, agency, firm, defects):
    make_firm(agency, "Lapsed", electrical=DAY - timedelta(1))
    gone = make_firm(agency, "Gone")
    gone.ended = DAY
    gone.save()
    uninsured = make_firm(agency, "Bare")
    uninsured.registrations.filter(kind="insurance").delete()
    shown = text(client.get(new(*defects)))
    assert "<strong>Lapsed</strong>: cannot be sent this" in shown
    assert shown.count("does not hold: ended on 24 Nov 2026") == 2
    assert "Gone" not in shown
    assert "No liability insurance of Bare is on record. Ask before you send." in shown
    assert shown.count('type="radio" name="contractor"') == 2
    assert "Danger: do this now" in shown


def test_the_mail_can_be_looked_at_before_anything_is_sent(client, firm, defects):
    response = client.post(reverse("job_new"), typed(firm, *defects, look="1"))
    shown = text(response)
    assert response.status_code == 200
    assert "The mail as it would go" in shown
    assert "Open this link, say whether you take the job" in shown
    assert "Key." in shown
    assert Job.objects.count() == Message.objects.count() == 0


def test_sending_leads_to_the_job(client, firm, defects):
    response = client.post(reverse("job_new"), typed(firm, *defects, send="1"))
    job = Job.objects.get()
    assert response["Location"] == reverse("job", args=[job.pk])
    assert job.access_notes == "Key."
    assert "Job 1 is on its way to Wire &amp; Co" in text(client.get(response["Location"]))


def test_a_second_press_sends_nothing_more(client, firm, defects):
    for _ in range(2):
        response = client.post(reverse("job_new"), typed(firm, *defects, send="1"))
    assert "it is with Wire &amp; Co already (Job 1)" in text(response)
    assert Job.objects.count() == 1


def test_a_firm_that_may_not_is_not_sent_it_by_hand_either(client, agency, defects):
    lapsed = make_firm(agency, "Lapsed", electrical=DAY - timedelta(1))
    other = make_firm(make_agency(), "Elsewhere")
    for firm in (lapsed, other):
        response = client.post(reverse("job_new"), typed(firm, *defects, send="1"))
        assert response.status_code == 400
        assert "Choose one of the contractors that may be sent this." in text(response)
    assert not Job.objects.exists()


def test_without_defects_the_page_says_what_to_do_first(client):
    assert "Choose what is to be mended first" in text(client.get(reverse("job_new")))


@pytest.mark.parametrize("asked", ["x", "-1", "1.5", "²", "9" * 30, "987654"])
def test_defects_that_are_not_there_are_absent(client, asked):
    assert client.get(reverse("job_new"), {"defect": asked}).status_code == 404


def test_another_agencys_defects_are_absent(client, defects):
    theirs = make_defects(make_agency(), "C2")
    assert client.get(new(*defects, *theirs)).status_code == 404


def test_the_page_of_a_job_shows_its_state_its_mail_and_its_record(client, job):
    shown = text(client.get(reverse("job", args=[job.pk])))
    for said in (
        "Late. Sent, not read yet",
        "Fault 1",
        "job-1.pdf",
        "Job 1 sent to Wire &amp; Co",
        "good until 23 Feb 2027",
    ):
        assert said in shown
    assert "/j/(known to the contractor alone)/" in shown


def test_a_job_is_taken_back_with_a_reason(client, job):
    url = reverse("job_take_back", args=[job.pk])
    assert client.post(url, {"why": ""}).status_code == 400
    assert Job.objects.get().closed_at is None
    client.post(url, {"why": "Tenant away"})
    assert "Taken back: Tenant away" in text(client.get(reverse("job", args=[job.pk])))
    assert client.post(url, {"why": "again"}).status_code == 409


def test_a_new_link_is_sent_by_pressing(client, job):
    url = reverse("job_link_new", args=[job.pk])
    assert client.get(url).status_code == 405
    shown = text(client.post(url, follow=True))
    assert "The old one no longer works" in shown
    assert job.links.filter(dead_at=None).count() == 1
    jobs.job_take_back(job.pk, why="x", actor=make_user(job.agency), moment=at())
    assert "This job is closed" in text(client.post(url, follow=True))


def test_an_inspector_sees_jobs_and_changes_none(agency, job):
    client = signed_in(make_user(agency, "inspector"))
    shown = text(client.get(reverse("job", args=[job.pk])))
    assert "Take it back" not in shown
    assert client.post(reverse("job_take_back", args=[job.pk]), {"why": "x"}).status_code == 404
    assert client.get(reverse("job_new")).status_code == 404


@pytest.mark.parametrize("name", ["job", "job_sheet", "job_visit"])
def test_a_landlord_and_other_agencies_never_see_a_job(agency, job, defects, name):
    url = reverse(name, args=[job.pk])
    own = make_user(agency, "landlord", landlord=defects[0].unit.landlord)
    for user in (
        own,
        make_user(agency, "landlord"),
        make_user(make_agency()),
        make_user(make_agency(), "inspector"),
    ):
        assert signed_in(user).get(url).status_code == 404
    assert signed_in(own).get(reverse("jobs")).status_code == 404


def test_the_list_is_narrowed_by_firm_and_state(client, agency, agent, job):
    sparks = make_firm(agency, "Sparks")
    other, _ = send(sparks, make_defects(agency, "C2"), agent)
    jobs.job_seen(other.pk, moment=at())

    def numbers(**asked):
        return [row.job.number for row in client.get(reverse("jobs"), asked).context["rows"]]

    assert numbers() == [1, 2]
    assert numbers(contractor=sparks.pk) == [2]
    assert numbers(state="seen") == [2]
    assert numbers(state="late") == [1]
    jobs.job_take_back(job.pk, why="x", actor=agent, moment=at())
    assert numbers() == [2]
    assert numbers(state="all") == [2, 1]
    assert numbers(state="taken_back") == [1]
    assert numbers(state="nonsense") == [2]
    assert numbers(contractor="x") == [2]


def test_the_sheet_and_the_entry_are_downloads(client, job):
    sheet = client.get(reverse("job_sheet", args=[job.pk]))
    assert sheet.content.startswith(b"%PDF-1.7")
    assert sheet["Content-Disposition"] == 'attachment; filename="job-1.pdf"'
    assert sheet["Cache-Control"] == "private, no-store"
    entry = client.get(reverse("job_visit", args=[job.pk]))
    assert icalendar.Calendar.from_ical(entry.content)["method"] == "REQUEST"
    jobs.job_take_back(job.pk, why="x", actor=make_user(job.agency), moment=at())
    entry = client.get(reverse("job_visit", args=[job.pk]))
    assert icalendar.Calendar.from_ical(entry.content)["method"] == "CANCEL"


def test_pages_ask_the_same_number_of_questions_however_much_there_is(client, agency, agent, firm):
    def asked(url):
        with CaptureQueriesContext(connection) as queries:
            assert client.get(url).status_code == 200
        return len(queries)

    small, large = make_defects(agency, "C2"), make_defects(agency, *["C2"] * 5)
    asked(new(*small))
    assert asked(new(*small)) == asked(new(*large))
    one, _ = send(firm, small, agent)
    page = asked(reverse("jobs")), asked(reverse("job", args=[one.pk]))
    many, _ = send(firm, large, agent)
    assert (asked(reverse("jobs")), asked(reverse("job", args=[many.pk]))) == page
