"""Entering the observations of a report, on its page."""

import time
from datetime import date

import pytest
from django.urls import reverse

from inspections.models import Defect
from notifications.models import Message
from portfolio import gate
from portfolio.law import model as law
from portfolio.models import Certificate
from portfolio.services.certificates import certificate_add, certificate_correct
from tests.factories import at, make_agency, make_home, make_user, signed_in

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("noon")]
TEN = "\n".join(
    ["C1, Bare live part, kitchen", "C2; No RCD for sockets; board", "FI, Reading not taken, board"]
    + [f"C3, Label {number} missing, board" for number in range(7)]
)


@pytest.fixture
def agency():
    return make_agency()


@pytest.fixture
def agent(agency):
    return make_user(agency)


@pytest.fixture
def home(agency):
    return make_home(agency, tenancies=(law.Tenancy("t1", date(2026, 1, 1), date(2026, 1, 1)),))


@pytest.fixture
def client(agent):
    return signed_in(agent)


def report(home, actor, kind="eicr", **facts):
    facts = {"inspected": date(2026, 11, 20)} | facts
    if kind == "eicr":
        facts = {"outcome": "unsatisfactory"} | facts
    return certificate_add(home.pk, law.Certificate("", kind, **facts), actor=actor, moment=at())


def text(response) -> str:
    return " ".join(response.content.decode().split())


def enter(client, paper, said):
    """Check, then record what was shown."""
    url = reverse("observations", args=[paper.pk])
    page = client.post(url, {"text": said, "check": "1"})
    return client.post(url, {"text": said, "save": "1", "seen": page.context["seen"]})


def test_ten_observations_become_defects_of_the_report(agent, client, home):
    gate.mark(home.pk, "let", actor=agent, moment=at())
    paper = report(home, agent)
    begun = time.perf_counter()
    assert enter(client, paper, TEN).status_code == 302
    assert time.perf_counter() - begun < 20
    found = Defect.objects.filter(certificate=paper, unit=home, found=date(2026, 11, 20), scheme="bs7671")
    assert found.count() == 10
    assert found.get(code="C1").room.use == "kitchen"
    assert found.get(code="C2").place == "board"
    assert Message.objects.filter(kind="danger").count() == 1
    assert not home.clearances.filter(withdrawn_at=None).exists()
    due = home.dues.get(code="eng_eicr.remedial_work")
    assert due.of == paper.ref


def test_nothing_is_recorded_before_it_was_shown(agent, client, home):
    paper = report(home, agent)
    url = reverse("observations", args=[paper.pk])
    page = text(client.post(url, {"text": TEN, "save": "1"}))
    assert "Record 10 defects" in page
    client.post(url, {"text": TEN + "\nC2, One more", "save": "1", "seen": "of another text"})
    assert not Defect.objects.exists()


def test_a_faulty_line_is_named_and_nothing_is_recorded(agent, client, home):
    page = text(enter(client, report(home, agent), "C2, Loose, hall\nHot, loft"))
    assert "Line 2: No class. Write one of C1, C2, C3, FI first or last." in page
    assert "Record " not in page
    assert not Defect.objects.exists()


def test_the_same_list_again_is_there_already(agent, client, home):
    paper = report(home, agent)
    enter(client, paper, TEN)
    page = client.post(reverse("observations", args=[paper.pk]), {"text": TEN.upper(), "check": "1"})
    assert "All of them are on record already." in text(page)
    more = enter(client, paper, f"{TEN}\nC2, Loose, hall\nC2, Loose, hall")
    assert more.status_code == 302
    assert Defect.objects.count() == 11


@pytest.mark.parametrize(
    ("kind", "said", "scheme", "code"),
    [
        ("gas_safety_record", "AR\tFlue loose\tkitchen", "igem_g11", "AR"),
        ("fire_risk_assessment", "Moderate, Door wedged, stair", "fire", "moderate"),
    ],
)
def test_other_reports_class_by_their_own_scheme(agent, client, home, kind, said, scheme, code):
    enter(client, report(home, agent, kind), said)
    found = Defect.objects.get()
    assert (found.scheme, found.code) == (scheme, code)


def test_a_report_without_its_day_is_corrected_first(agent, client, home):
    paper = report(home, agent)
    certificate_correct(
        paper.pk, law.Certificate("", "eicr", outcome="unsatisfactory"), why="Misread.", actor=agent, moment=at()
    )  # fmt: skip
    url = reverse("observations", args=[paper.pk])
    assert "Correct the paper first" in text(client.get(url))
    enter(client, paper, "C2, Loose")
    assert not Defect.objects.exists()


def test_a_paper_that_classes_nothing_says_so(client, home):
    energy = home.certificates.get(kind="epc")
    assert "classes nothing" in text(client.get(reverse("observations", args=[energy.pk])))


@pytest.mark.parametrize(("outcome", "leads"), [("unsatisfactory", True), ("satisfactory", False)])
def test_a_failing_report_leads_to_its_observations(client, home, outcome, leads):
    said = {"kind": "eicr", "inspected": "2026-11-20", "outcome": outcome, "save": "1"}
    response = client.post(reverse("certificate_add", args=[home.pk]), said)
    paper = Certificate.objects.filter(kind="eicr").order_by("pk").last()
    assert response.status_code == 302
    assert (response["Location"] == reverse("observations", args=[paper.pk])) is leads
