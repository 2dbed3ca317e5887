"""The list of all open defects, and the list of proof to confirm."""

import csv
import io
import re
from datetime import date

import openpyxl
import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from inspections.models import Contractor, Defect, Job, JobItem
from inspections.selectors.jobs import listed as listed_jobs
from inspections.selectors.jobs import rows as job_rows
from inspections.services.competence import DONE, hands_of
from portfolio.law import model as law
from tests.factories import DAY, at, make_agency, make_home, make_homes, make_user, signed_in
from tests.inspections.job_cases import mail_of, make_firm, send

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("noon")]


@pytest.fixture
def agency():
    return make_agency()


@pytest.fixture
def agent(agency):
    return make_user(agency)


@pytest.fixture
def client(agent):
    return signed_in(agent)


def defect(agency, scheme="bs7671", code="C2", title="Loose", found=DAY, **more):
    fields = {"trade", "place"} & more.keys()
    more, home = {k: v for k, v in more.items() if k not in fields}, {k: more[k] for k in fields}
    made = make_home(agency, defects=(law.Defect("d1", scheme, code, title, found),), **more).defects.get()
    Defect.objects.filter(pk=made.pk).update(**home)
    return made


def many(agency, number: int) -> None:
    """As many homes, each with a C2 defect: fault 00, fault 01 and so on."""
    found = [law.Defect("d1", "bs7671", "C2", f"fault {n:02}", DAY) for n in range(number)]
    make_homes(agency, *({"defects": (one,)} for one in found))


def titles(response) -> list[str]:
    return re.findall(r'<a href="/defects/\d+/">([^<]+)</a>', response.content.decode())


def listed(client, **asked) -> list[str]:
    return titles(client.get(reverse("open_defects"), asked))


def test_the_most_pressing_come_first_then_by_their_day(agency, client):
    defect(agency, code="C3", title="board")
    defect(agency, code="C2", title="newer", found=date(2026, 11, 24))
    defect(agency, code="C2", title="older", found=date(2026, 11, 1))
    defect(agency, code="C1", title="live")
    defect(agency, scheme="other", code="note", title="note", found=date(2020, 1, 1))
    assert listed(client) == ["live", "older", "newer", "board", "note"]


@pytest.mark.parametrize(("found", "late"), [(10, "late by 1 day"), (11, None), (12, None)])
def test_late_is_said_in_words(agency, client, found, late):
    defect(agency, code="C2", found=date(2026, 11, found))  # 14 days: 24, 25 and 26 November
    page = client.get(reverse("open_defects")).content.decode()
    assert ("late by 1 day<" in page) is (late is not None)
    assert bool(listed(client, when="late")) is (late is not None)


def test_a_defect_that_is_confirmed_is_not_listed(agency, client):
    one = defect(agency)
    Defect.objects.filter(pk=one.pk).update(completed=DAY, confirmed=DAY)
    assert listed(client) == []


def test_it_is_narrowed_by_every_thing_it_can_be(agency, agent, client):
    firm = Contractor.objects.create(agency=agency, name="Sparks", email="s@example.org")
    job = Job.objects.create(agency=agency, number=1, contractor=firm, sent_at=at().at, sent_by=agent)
    sent = defect(agency, title="sent", label="Flat 71", landlord_ref="L71")
    JobItem.objects.create(job=job, defect=sent)
    done = defect(agency, title="done", scheme="igem_g11", code="AR")
    Defect.objects.filter(pk=done.pk).update(completed=DAY)
    defect(agency, title="alone", scheme="other", code="repair", trade="plumbing", place="Under the sink")
    assert listed(client, state="nobody") == ["alone"]
    assert listed(client, state="contractor") == listed(client, contractor=firm.pk) == ["sent"]
    assert listed(client, state="done") == listed(client, trade="gas") == ["done"]
    assert listed(client, trade="plumbing") == listed(client, scheme="other") == ["alone"]
    assert listed(client, landlord=sent.unit.landlord_id) == listed(client, q="flat 71") == ["sent"]
    assert listed(client, q="sink") == ["alone"]
    assert listed(client, trade="electrical") == ["sent"]


def test_only_what_is_with_nobody_can_be_picked_and_only_by_who_sends_jobs(agency, agent, client):
    one = defect(agency)
    box = f'name="defect" value="{one.pk}"'
    assert box in client.get(reverse("open_defects")).content.decode()
    inspector = signed_in(make_user(agency, "inspector"))
    assert box not in inspector.get(reverse("open_defects")).content.decode()
    Defect.objects.update(completed=DAY)
    assert box not in client.get(reverse("open_defects")).content.decode()


def test_a_landlord_sees_those_of_their_homes_and_no_contractors(agency):
    own = defect(agency, title="own", landlord_ref="L-own")
    defect(agency, title="other", landlord_ref="L-other")
    owner = signed_in(make_user(agency, "landlord", landlord=own.unit.landlord))
    response = owner.get(reverse("open_defects"))
    assert titles(response) == ["own"]
    assert {"landlord", "contractor"}.isdisjoint(response.context["filter"].form.fields)


def test_the_downloads_hold_what_is_shown(agency, client):
    many(agency, 60)
    defect(agency, title="=cmd()", code="C1", found=date(2026, 11, 24))
    rows = list(
        csv.DictReader(
            io.StringIO(client.get(reverse("defects_download", args=["csv"])).content.decode("utf-8-sig"))
        )
    )
    assert len(rows) == 61
    assert (rows[0]["How soon"], rows[0]["Last day"], rows[0]["Days late"]) == ("Stop now", "2026-11-24", "1")
    assert not rows[0]["What is wrong"].startswith("=")
    only = client.get(reverse("defects_download", args=["xlsx"]), {"when": "late"})
    sheet = openpyxl.load_workbook(io.BytesIO(only.content)).active
    assert sheet.max_row == 2


def test_pages_keep_what_was_asked(agency, client):
    many(agency, 51)
    second = client.get(reverse("open_defects"), {"page": 2, "scheme": "bs7671"})
    assert titles(second) == ["fault 50"]
    assert "scheme=bs7671" in second.content.decode()


@pytest.mark.parametrize("name", ["open_defects", "proof"])
def test_as_many_queries_however_many_there_are(agency, agent, client, name, django_assert_num_queries):
    def grow(count):
        for _ in range(count):
            one = defect(agency)
            Defect.objects.filter(pk=one.pk).update(completed=DAY, completed_by=agent, work="rcd_added")

    grow(2)
    with CaptureQueriesContext(connection) as few:
        client.get(reverse(name))
    grow(6)
    with django_assert_num_queries(len(few)):
        client.get(reverse(name))


def test_proof_waits_longest_first_and_says_who_may_confirm_it(agency, agent):
    inspector = make_user(agency, "inspector", competent=["bs7671"])
    for title, scheme, code, day in (("new", "bs7671", "C2", 24), ("old", "igem_g11", "AR", 20)):
        one = defect(agency, scheme=scheme, code=code, title=title, found=date(2026, 11, 1))
        Defect.objects.filter(pk=one.pk).update(
            completed=date(2026, 11, day), completed_by=agent, work="rcd_added"
        )
    response = signed_in(inspector).get(reverse("proof"))
    old, new = response.context["rows"]
    assert (old.defect.title, new.defect.title) == ("old", "new")
    assert "Your competence for Gas" in old.why_not
    assert new.why_not == ""
    assert "inor works certificate" in new.lacks
    assert "competence for Gas" in response.content.decode()
    agents = signed_in(agent).get(reverse("proof")).context["rows"]
    assert {row.why_not for row in agents} == {"Only an inspector can confirm that a defect is put right."}


def test_hands_are_told_apart_by_defect(agency, agent):
    one, other = defect(agency), defect(agency)
    one.completed, one.completed_by = DAY, agent
    one.save()
    assert hands_of([one.pk, other.pk]) == {one.pk: ({agent.pk: DONE}, set()), other.pk: ({}, set())}


def test_an_improvement_past_its_advised_day_is_shown_as_advised_and_never_late(agency, client, agent):
    one = defect(agency, code="C3", title="Old board", found=date(2024, 11, 20))
    late = defect(agency, code="C2", title="Loose socket", found=date(2024, 11, 20))
    assert listed(client, when="late") == ["Loose socket"]
    response = client.get(reverse("open_defects"))
    assert dict((name, n) for name, _, n in response.context["tally"])["late"] == 1
    pages = [
        reverse("defect", args=[one.pk]),
        reverse("defects", args=[one.unit_id]),
        reverse("job_new") + f"?defect={one.pk}",
    ]
    for page in pages:
        said = re.sub(r"\s+", " ", client.get(page).content.decode())
        assert "dvised by" in said, page
        assert "late by" not in said
        assert "Late." not in said
    assert "late by" in client.get(reverse("defect", args=[late.pk])).content.decode()
    rows = list(
        csv.DictReader(
            io.StringIO(client.get(reverse("defects_download", args=["csv"])).content.decode("utf-8-sig"))
        )
    )
    told = {row["What is wrong"]: (row["Only advised"], row["Days late"] != "0") for row in rows}
    assert told == {"Old board": ("yes", False), "Loose socket": ("", True)}


def test_a_job_of_improvements_has_no_last_day_and_is_not_late(agency, agent):
    one = defect(agency, code="C3", title="Old board", found=date(2024, 11, 20))
    job, _ = send(make_firm(agency), [one], agent)
    letter = mail_of(job, "sent")
    for said in (letter.subject, letter.text, letter.html):
        assert "late" not in said.replace("later", "").replace("template", "")
    assert "Advised by 20 November 2025" in letter.text
    (row,) = job_rows([job.pk], day=DAY)
    assert (row.due, row.late) == (None, False)
    assert listed_jobs(Job.objects.all(), state="late", day=DAY) == []
