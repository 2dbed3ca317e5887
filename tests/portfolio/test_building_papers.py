"""A paper of a whole building, recorded for each of its homes in one go."""

import io
import re
from copy import deepcopy
from dataclasses import replace

import pikepdf
import pytest
from django.core.exceptions import ValidationError
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from portfolio import gate, standing
from portfolio.facts import facts_of
from portfolio.law import model as law
from portfolio.models import Certificate, Document, Event, Unit, User
from portfolio.selectors.certificates import others_of_building
from portfolio.services.certificates import certificate_add
from portfolio.services.events import verify
from portfolio.services.take_in import take_in
from tests.factories import BUILDING, DAY, at, clear_portfolio, make_agency, make_home, make_user, signed_in

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("noon")]

FRA = {"kind": "fire_risk_assessment", "inspected": "2026-11-20", "until": "2027-11-19", "number": "FR-7"}
PAPER = law.Certificate("", "fire_risk_assessment", "FR-7", inspected=DAY)
OFFER = "record it for these homes too"


@pytest.fixture(autouse=True)
def _files(settings, tmp_path):
    settings.MEDIA_ROOT = tmp_path


@pytest.fixture(scope="module")
def common(in_common) -> tuple[User, list[Unit]]:
    """An agent, and three flats of one building, of two landlords, and a house elsewhere."""
    agent = make_user(make_agency())
    for label in ("Flat 10", "Flat 9"):
        make_home(agent.agency, label=label, ref=label.lower().replace(" ", "-"))
    make_home(agent.agency, label="Flat 1", ref="flat-1", landlord_ref="L2")
    elsewhere = clear_portfolio(ref="elsewhere", building="other-row", label="Other")
    place = replace(BUILDING, ref="other-row", name="1 Other Row")
    take_in(law.Portfolio((place,), elsewhere.units), agency=agent.agency, actor=agent, moment=at())
    return agent, [Unit.objects.get(ref=ref) for ref in ("flat-9", "flat-10", "flat-1", "elsewhere")]


@pytest.fixture
def agent(common) -> User:
    return deepcopy(common[0])


@pytest.fixture
def homes(common) -> list[Unit]:
    return deepcopy(common[1])


def send(user, home, **data):
    return signed_in(user).post(reverse("certificate_add", args=[home.pk]), data)


def text(response) -> str:
    return " ".join(response.content.decode().split())


def carried(response) -> dict[str, list[str]]:
    """What the page of the check step carries to the saving."""
    found: dict[str, list[str]] = {}
    for name, value in re.findall(
        r'<input type="hidden" name="(?!csrf)(\w+)" value="([^"]*)"', text(response)
    ):
        found.setdefault(name, []).append(value)
    return found


def papers(home: Unit) -> list[Certificate]:
    return list(home.certificates.filter(kind="fire_risk_assessment"))


def pdf() -> SimpleUploadedFile:
    paper, out = pikepdf.new(), io.BytesIO()
    paper.add_blank_page()
    paper.save(out)
    return SimpleUploadedFile("fire.pdf", out.getvalue())


# --- the offer ---------------------------------------------------------------------------------------


@pytest.mark.parametrize("kind", law.CERTIFICATES)
def test_only_papers_of_the_building_are_offered_to_its_other_homes(agent, homes, kind):
    page = text(signed_in(agent).get(reverse("certificate_add", args=[homes[0].pk]), {"kind": kind}))
    assert (OFFER in page) is (kind in law.BUILDING_PAPERS)


def test_the_other_homes_of_the_building_are_ticked_in_the_order_of_their_names(agent, homes):
    page = text(signed_in(agent).get(reverse("certificate_add", args=[homes[0].pk]), {"kind": FRA["kind"]}))
    boxes = re.findall(r'<input type="checkbox" name="also" value="(\d+)"[^>]*?checked', page)
    assert boxes == [str(homes[2].pk), str(homes[1].pk)]
    assert "Flat 9" not in page.partition(OFFER)[2].partition("</fieldset>")[0]


def test_a_home_alone_in_its_building_is_asked_nothing_more(agent, homes):
    page = text(signed_in(agent).get(reverse("certificate_add", args=[homes[3].pk]), {"kind": FRA["kind"]}))
    assert OFFER not in page


def test_a_landlord_is_offered_only_homes_of_their_own(agent, homes):
    landlord = make_user(agent.agency, "landlord", landlord=homes[0].landlord)
    assert [pk for pk, _ in others_of_building(homes[0], landlord)] == [homes[1].pk]
    response = send(landlord, homes[0], **FRA, also=[str(homes[2].pk)], upload=pdf(), save="1")
    assert "One of the homes is not among those offered" in text(response)
    assert not Certificate.objects.filter(kind="fire_risk_assessment").exists()


@pytest.mark.parametrize("whose", ["elsewhere", "another agency's"])
def test_a_home_that_was_not_offered_is_refused_by_page_and_service(agent, homes, whose):
    stranger = homes[3] if whose == "elsewhere" else make_home(make_agency())
    response = send(agent, homes[0], **FRA, also=[str(stranger.pk)], save="1")
    assert "One of the homes is not among those offered" in text(response)
    with pytest.raises(ValidationError, match="in this building"):
        certificate_add(homes[0].pk, PAPER, also=[stranger.pk], actor=agent, moment=at())
    assert not Certificate.objects.filter(kind="fire_risk_assessment").exists()


def test_a_paper_of_one_home_cannot_be_recorded_for_others(agent, homes):
    paper = law.Certificate("", "eicr", inspected=DAY, outcome="satisfactory")
    with pytest.raises(ValidationError, match="one home only"):
        certificate_add(homes[0].pk, paper, also=[homes[1].pk], actor=agent, moment=at())


# --- the check and the saving -------------------------------------------------------------------------


def test_the_homes_are_shown_before_anything_is_saved_and_each_then_has_the_paper(agent, homes):
    also = [str(homes[1].pk), str(homes[2].pk)]
    checked = send(agent, homes[0], **FRA, also=also, upload=pdf(), check="1")
    assert "Recorded for 2 other homes of the building too" in text(checked)
    assert "<li>Flat 1</li><li>Flat 10</li>" in text(checked).replace("> <", "><")
    assert "Save for 3 homes" in text(checked)
    assert not Certificate.objects.filter(kind="fire_risk_assessment").exists()
    again = carried(checked)
    assert sorted(again["also"]) == sorted(also)

    lines = Event.objects.count()
    saved = signed_in(agent).post(
        reverse("certificate_add", args=[homes[0].pk]), again | {"save": "1"}, follow=True
    )
    assert "and for 2 other homes of the building" in text(saved)
    (document,) = Document.objects.all()
    for home in homes[:3]:
        (row,) = papers(home)
        assert (row.number, row.inspected.isoformat(), row.ref) == (
            "FR-7", FRA["inspected"], "fire_risk_assessment-5",
        )  # fmt: skip
        assert list(row.documents.all()) == [document]
        assert row.history.get().history_user == agent
        line = Event.objects.filter(unit=home).order_by("-seq")[0]
        assert (line.subject, line.actor) == (f"certificate:{row.pk}", agent)
        assert "for 3 homes of the building at once" in line.says
        assert line.data["sha256"] == document.sha256
    assert papers(homes[3]) == []
    assert Event.objects.count() == lines + 3
    assert verify(agent.agency) is None


def test_homes_can_be_left_out(agent, homes):
    send(agent, homes[0], **FRA, also=[str(homes[1].pk)], save="1")
    assert [len(papers(home)) for home in homes] == [1, 1, 0, 0]
    send(agent, homes[0], **FRA | {"inspected": "2026-11-21"}, save="1")
    assert [len(papers(home)) for home in homes] == [2, 1, 0, 0]


def test_changing_something_keeps_the_homes_that_were_chosen(agent, homes):
    page = text(send(agent, homes[0], **FRA, also=[str(homes[1].pk)], change="1"))
    assert re.findall(r'name="also" value="(\d+)"[^>]*?checked', page) == [str(homes[1].pk)]


def test_a_home_that_holds_the_paper_already_is_pointed_out(agent, homes):
    certificate_add(homes[1].pk, PAPER, actor=agent, moment=at())
    also = [str(homes[1].pk), str(homes[2].pk)]
    page = text(send(agent, homes[0], **FRA | {"inspected": DAY.isoformat()}, also=also, check="1"))
    assert page.count("A paper of this kind with the same day is on record there") == 1
    assert "Flat 10 <strong>Held already?" in page


def test_the_standing_of_every_home_follows_at_once_and_marks_are_kept(agent, homes):
    for home in homes[:3]:
        gate.mark(home.pk, "let", actor=agent, moment=at())
    certificate_add(homes[0].pk, PAPER, also=[homes[1].pk, homes[2].pk], actor=agent, moment=at())
    for home in homes[:3]:
        home.standing.refresh_from_db()
        said = {one["id"]: one["state"] for one in home.standing.answer["requirements"]}
        assert said["eng_fra"] == "met"
        assert home.clearances.get().withdrawn_at is None
    asked = standing.on_day([home.pk for home in homes[:3]], DAY)
    assert {one.let.clear for one in asked.values()} == {True}


def test_a_paper_that_fails_leaves_no_home_with_it(agent, homes):
    wrong = replace(PAPER, until=DAY.replace(year=2020))
    with pytest.raises(ValidationError):
        certificate_add(homes[0].pk, wrong, also=[homes[1].pk], actor=agent, moment=at())
    assert not Certificate.objects.filter(kind="fire_risk_assessment").exists()
    assert facts_of([homes[1].pk])[homes[1].pk][1].certificates is not None


def test_it_takes_the_same_queries_for_two_homes_and_for_twenty(agent, homes):
    def count(paper: law.Certificate, also: list[int]) -> int:
        with CaptureQueriesContext(connection) as run:
            certificate_add(homes[0].pk, paper, also=also, actor=agent, moment=at())
        return len(run)

    count(PAPER, [homes[1].pk])
    few = count(PAPER, [homes[1].pk])
    more = [make_home(agent.agency).pk for _ in range(18)]
    count(PAPER, [homes[1].pk, *more])
    assert count(PAPER, [homes[1].pk, *more]) <= few
