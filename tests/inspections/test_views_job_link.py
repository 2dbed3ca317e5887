"""The page behind the link of a job: one job, and nothing by looking."""

from datetime import date
from uuid import uuid4

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from inspections.models import Defect, Evidence, Job, JobLink
from inspections.services import jobs
from inspections.services.defects import defect_send_back
from inspections.services.evidence import evidence_add
from portfolio.models import Event
from tests.factories import DAY, at, make_user, signed_in
from tests.inspections.job_cases import make_defects, send
from tests.inspections.test_services_evidence import photo
from tests.portfolio.test_documents import pdf

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("noon", "no_sheet")]
SCANNERS = (
    "Mozilla/5.0 (compatible; Mail-Scanner/1.0)",
    "curl/8",
    "Microsoft Office Existence Discovery",
    "",
)
NOWHERE = "A" * 43
"""A link that nobody has."""


def text(response) -> str:
    return " ".join(response.content.decode().split())


def press(url, do, client=None, **more):
    return (client or Client()).post(url, {"do": do, **more})


def fresh(record):
    return type(record).objects.get(pk=record.pk)


def test_the_page_shows_the_job_and_what_to_do_now(url, agent):
    shown = text(Client().get(url))
    for said in (
        "Job 1 for Wire &amp; Co",
        "Fault 1",
        "Fault 2",
        "Key at no 4.",
        agent.email,
        "Danger: do this now",
    ):
        assert said in shown
    assert "If there is smoke" in shown


@pytest.mark.parametrize("said", [{"do": "propose", "day": DAY, "start": "9"}, {"do": "decline", "why": ""}])
def test_what_is_refused_is_said_at_the_top_where_a_phone_shows_it(url, job, said):
    shown = text(press(url, said.pop("do"), **said))
    assert shown.count("Not yet: 1 thing to put right") == 1
    assert shown.index("Not yet: 1 thing to put right") < shown.index("Danger: do this now")
    assert (fresh(job).proposed, fresh(job).answer) == (None, None)


def test_a_refusal_about_a_defect_stands_at_the_top_too_and_leads_to_its_field(url, defects):
    shown = text(press(url, "done", defect=defects[1].pk, on=DAY, work=""))
    top = shown[: shown.index("Danger: do this now")]
    assert "Not yet: 1 thing to put right" in top
    assert f'href="#d{defects[1].pk}-' in top


def test_the_page_shows_no_other_job_and_nothing_of_the_site(url, agency, agent, firm):
    send(firm, make_defects(agency, "C3", label="Secret flat"), agent)
    shown = text(Client().get(url))
    assert "Secret flat" not in shown
    for name in ("homes", "jobs", "contractors", "account_logout"):
        assert f'href="{reverse(name)}"' not in shown.replace(f'class="brand" href="{reverse("homes")}"', "")


@pytest.mark.parametrize("agent_name", SCANNERS)
@pytest.mark.parametrize("method", ["get", "head"])
def test_looking_changes_nothing(url, job, defects, agent_name, method):
    def everything():
        return (
            list(Job.objects.values()), list(JobLink.objects.values()), list(Defect.objects.values()),
            Event.objects.count(), Evidence.objects.count(),
        )  # fmt: skip

    before = everything()
    for query in (
        "",
        "?do=accept",
        "?do=decline&why=x",
        f"?do=done&defect={defects[0].pk}&on={DAY}&work=rewire",
    ):
        response = getattr(Client(), method)(url + query, headers={"User-Agent": agent_name})
        assert response.status_code == 200
    assert everything() == before
    assert fresh(job).seen_at is None


@pytest.mark.parametrize("method", ["put", "patch", "delete", "options"])
def test_no_other_way_of_asking_is_answered(url, method):
    assert getattr(Client(), method)(url).status_code == 405


def test_the_page_tells_nobody_its_address_and_is_kept_by_nobody(url):
    for response in (
        Client().get(url),
        Client().get(reverse("job_link", args=[NOWHERE])),
        press(url, "seen"),
    ):
        assert response["Referrer-Policy"] == "no-referrer"
        assert "noindex" in response["X-Robots-Tag"]
        assert response["Cache-Control"] == "no-store"


def test_a_browser_that_hides_where_it_comes_from_can_still_answer(url, job):
    """What `no-referrer` makes a browser send with a form."""
    client = Client(enforce_csrf_checks=True)
    assert client.post(url, {"do": "seen"}, headers={"Origin": "null"}).status_code == 302
    assert fresh(job).seen_at is not None


def test_reading_taking_and_a_day_are_said_by_pressing(url, job):
    client = Client()
    assert "see that you have read" not in text(client.get(url))
    assert press(url, "seen", client).status_code == 302
    assert fresh(job).seen_at == at().at
    assert "sees that you have read this" in text(client.get(url))
    press(url, "accept", client)
    assert fresh(job).answer == "accepted"
    press(url, "propose", client, day="2026-12-01", start="9.30", end="12:00")
    assert "Day proposed: 1 Dec 2026, 09:30 to 12:00" in text(client.get(url))


@pytest.mark.parametrize(
    ("do", "told", "said"),
    [
        ("propose", {"day": "2026-11-24"}, "This day is past"),
        ("propose", {"day": ""}, "Choose a day"),
        ("propose", {"day": "2026-12-01", "start": "12:00", "end": "9:00"}, "later than the beginning"),
        ("decline", {"why": ""}, "Say why"),
        ("safe", {"on": "2026-11-25", "how": ""}, "Say how it was made safe"),
        ("safe", {"on": "2026-11-26", "how": "Isolated"}, "lies in the future"),
        ("safe", {"on": "2026-11-01", "how": "Isolated"}, "before it was found"),
        ("done", {"on": "2026-11-26", "work": "accessory_swap"}, "lies in the future"),
        ("done", {"on": "2026-11-25", "work": "gas_repair"}, "Select a valid choice"),
        ("done", {"on": "2026-11-25", "work": ""}, "Say what kind of work"),
        ("proof", {"key": str(uuid4())}, "Choose a file, or write"),
        ("proof", {"key": "x", "says": "Done"}, "valid UUID"),
        ("nonsense", {}, "could be understood"),
    ],
)
def test_a_wrong_answer_is_shown_with_its_cure_and_keeps_nothing(url, job, defects, do, told, said):
    before = Event.objects.count()
    response = press(url, do, defect=defects[0].pk, **told)
    assert response.status_code == 400
    assert said in text(response)
    assert Event.objects.count() == before
    assert fresh(job).answer is None


def test_declining_ends_the_link_and_says_so(url, job, defects):
    response = press(url, "decline", why="Too far.")
    assert response.status_code == 200
    assert "You declined the job" in text(response)
    assert fresh(job).declined_why == "Too far."
    assert Client().get(url).status_code == 404


def test_made_safe_for_now_lifts_nothing(url, defects):
    press(url, "safe", defect=defects[0].pk, on="2026-11-25", how="Circuit off and locked.")
    defect = fresh(defects[0])
    assert (defect.made_safe, defect.made_safe_how, defect.completed) == (
        DAY,
        "Circuit off and locked.",
        None,
    )


def test_work_done_is_said_with_its_kind_and_what_must_come_back_is_shown(url, defects, firm):
    client = Client()
    response = press(url, "done", client, defect=defects[1].pk, on="2026-11-24", work="consumer_unit")
    assert response["Location"] == f"{url}#defect-{defects[1].pk}"
    defect = fresh(defects[1])
    assert (defect.completed, defect.work) == (date(2026, 11, 24), "consumer_unit")
    assert (defect.completed_for, defect.completed_by) == (firm, None)
    shown = text(client.get(url))
    assert (
        "Electrical installation certificate with its inspection and test schedules <strong>(not here yet)"
        in shown
    )
    assert "It has to be notified." in shown


def test_a_firm_no_longer_registered_on_the_day_of_work_is_told_what_to_do(url, defects, firm, agent):
    firm.registrations.filter(kind="electrical").update(until=date(2026, 11, 23))
    wrong = press(url, "done", defect=defects[1].pk, on="2026-11-24", work="accessory_swap")
    assert wrong.status_code == 409
    assert "does not hold: ended on 23 Nov 2026" in text(wrong)
    assert f"ask {agent} of Latchford Lettings to record it" in text(wrong)
    right = press(url, "done", defect=defects[1].pk, on="2026-11-23", work="accessory_swap")
    assert right.status_code == 302


def test_photos_and_papers_come_as_proof_of_the_firm_once(url, defects, firm):
    key = str(uuid4())
    for _ in range(2):
        files = [
            SimpleUploadedFile("after.jpg", photo().content),
            SimpleUploadedFile("again.jpg", photo("red").content),
        ]
        response = press(url, "proof", defect=defects[0].pk, key=key, uploads=files, says="New socket.")
        assert response.status_code == 302
    paper = SimpleUploadedFile("minor works.pdf", pdf())
    told = {"paper": "minor_works", "number": "M1", "dated": "2026-11-24"}
    press(url, "proof", defect=defects[0].pk, key=str(uuid4()), uploads=[paper], **told)
    pieces = Evidence.objects.filter(defect=defects[0])
    assert pieces.count() == 4
    assert set(pieces.values_list("contractor", "added_by", "stage")) == {(firm.pk, None, "after")}
    assert pieces.get(paper="minor_works").number == "M1"


def test_a_file_that_is_refused_is_named(url, defects):
    lying = SimpleUploadedFile("after.jpg", b"<svg onload=alert(1)>")
    response = press(url, "proof", defect=defects[0].pk, key=str(uuid4()), uploads=[lying])
    assert response.status_code == 400
    assert "‘after.jpg’" in text(response)
    assert not Evidence.objects.exists()


def test_proof_sent_back_shows_why_and_what_to_bring(url, defects, agency):
    press(url, "done", defect=defects[1].pk, on="2026-11-24", work="consumer_unit")
    inspector = make_user(agency, "inspector")
    defect_send_back(defects[1].pk, why="No schedule of tests.", actor=inspector, moment=at())
    shown = text(Client().get(url))
    assert "Proof sent back: 1 of 2" in shown
    assert "No schedule of tests." in shown
    assert "Electrical installation certificate with its inspection" in shown


def test_a_defect_that_left_the_job_is_answered_no_more(url, job, defects):
    item = job.items.get(defect=defects[0])
    item.ended_at = at().at
    item.save()
    assert "Fault 1" not in text(Client().get(url))
    response = press(url, "safe", defect=defects[0].pk, on="2026-11-25", how="x")
    assert response.status_code == 409
    assert "no longer in your job" in text(response)


@pytest.mark.parametrize("defect", ["", "x", "999999", "-1"])
def test_a_defect_of_no_such_job_is_refused(url, defect):
    assert press(url, "done", defect=defect, on="2026-11-25", work="rewire").status_code == 409


def test_photos_of_the_job_are_shown_by_its_link_and_no_others(sent, agency, agent, firm, defects):
    def keep(defect, **more):
        facts = {
            "key": uuid4(),
            "stage": "before",
            "accepted": photo(),
            "actor": agent,
            "moment": at(),
            **more,
        }
        return evidence_add(defect.pk, **facts).pk

    def status(number):
        return Client().get(reverse("job_link_evidence", args=[sent[1], number]) + "?size=small").status_code

    before, own = keep(defects[0]), keep(defects[0], stage="after", actor=None, contractor=firm)
    landlords = keep(defects[0], stage="after")
    elsewhere = keep(make_defects(agency, "C2")[0])
    withdrawn = keep(defects[1])
    Evidence.objects.filter(pk=withdrawn).update(withdrawn_at=at().at, withdrawn_why="x")
    assert [status(pk) for pk in (before, own)] == [200, 200]
    assert [status(pk) for pk in (landlords, elsewhere, withdrawn, 987654)] == [404] * 4
    page = text(Client().get(reverse("job_link", args=[sent[1]])))
    assert reverse("job_link_evidence", args=[sent[1], before]) in page
    assert reverse("job_link_evidence", args=[sent[1], landlords]) not in page
    assert reverse("evidence_original", args=[before]) not in page
    response = Client().get(reverse("job_link_evidence", args=[sent[1], before]))
    assert (response["Content-Type"], response["Cache-Control"]) == ("image/jpeg", "no-store")
    jobs.job_take_back(sent[0].pk, why="x", actor=agent, moment=at())
    assert status(before) == 404


@pytest.mark.parametrize("role", ["agent", "inspector", "landlord"])
def test_our_own_people_may_look_but_not_answer_for_the_contractor(url, job, agency, defects, role):
    client = signed_in(make_user(agency, role))
    assert client.get(url).status_code == 200
    for do in ("seen", "accept", "done"):
        response = press(url, do, client, defect=defects[0].pk, on="2026-11-25", work="accessory_swap")
        assert response.status_code == 403
        assert "Log out first" in text(response)
    assert fresh(job).seen_at is None
    assert fresh(defects[0]).completed is None


def test_the_page_asks_the_same_number_of_questions_however_many_defects(agency, agent, firm):
    def asked(count):
        _, token = send(firm, make_defects(agency, *["C2"] * count), agent)
        with CaptureQueriesContext(connection) as queries:
            assert Client().get(reverse("job_link", args=[token])).status_code == 200
        return len(queries)

    asked(1)
    assert asked(2) == asked(6)
