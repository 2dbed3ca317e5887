"""By the link of a job a contractor withdraws what it brought itself, and nothing else."""

from uuid import uuid4

import pytest
from django.test import Client
from django.urls import reverse

from inspections.models import Evidence
from inspections.services import jobs
from inspections.services.defects import defect_claim_done, defect_confirm
from inspections.services.evidence import evidence_add
from portfolio.models import Event
from tests.factories import DAY, at, make_agency, make_user
from tests.inspections.job_cases import make_defects, make_firm, send
from tests.inspections.test_services_evidence import photo

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("noon")]


@pytest.fixture(autouse=True)
def _no_sheet(monkeypatch):
    monkeypatch.setattr("inspections.services.job_mail.job_sheet", lambda *_, **__: b"%PDF-")


@pytest.fixture
def agency():
    return make_agency()


@pytest.fixture
def agent(agency):
    return make_user(agency)


@pytest.fixture
def firm(agency):
    return make_firm(agency)


@pytest.fixture
def defects(agency):
    return make_defects(agency, "C1", "C2")


@pytest.fixture
def sent(firm, defects, agent):
    return send(firm, defects, agent)


def bring(defect, actor=None, contractor=None, colour="red"):
    return evidence_add(
        defect.pk,
        key=uuid4(),
        stage="after",
        accepted=photo(colour),
        actor=actor,
        contractor=contractor,
        moment=at(),
    )


def withdraw(sent, piece, defect, why="The wrong room."):
    said = {"do": "withdraw", "defect": defect.pk, "piece": piece.pk, "why": why}
    return Client().post(reverse("job_link", args=[sent[1]]), said, follow=True)


def text(response) -> str:
    return " ".join(response.content.decode().split())


def test_it_withdraws_its_own_with_a_reason(sent, firm, defects):
    piece = bring(defects[0], contractor=firm)
    address = reverse("job_link", args=[sent[1]])
    assert "Withdraw something you sent" in text(Client().get(address))
    response = withdraw(sent, piece, defects[0])
    assert "Withdrawn: photo.jpg. It stays on record" in text(response)
    piece.refresh_from_db()
    assert (piece.withdrawn_at, piece.withdrawn_why) == (at().at, "The wrong room.")
    event = Event.objects.get(verb="evidence.withdrawn")
    assert (event.actor, event.data["by"], event.data["why"]) == (None, str(firm), "The wrong room.")
    page = text(Client().get(address))
    assert "Withdraw something you sent" not in page
    assert "You have sent nothing yet." in page


def test_it_does_so_while_the_work_is_said_to_be_done_too(sent, firm, defects):
    piece = bring(defects[0], contractor=firm)
    defect_claim_done(defects[0].pk, on=DAY, work="accessory_swap", actor=None, contractor=firm, moment=at())
    assert withdraw(sent, piece, defects[0]).status_code == 200
    assert Evidence.objects.get().withdrawn_at


@pytest.mark.parametrize(
    ("why", "says"),
    [("", "Say why it is withdrawn"), ("  ", "Say why it is withdrawn"), ("x" * 1001, "1000 can be kept")],
)
def test_without_a_reason_nothing_is_withdrawn(sent, firm, defects, why, says):
    piece = bring(defects[0], contractor=firm)
    response = withdraw(sent, piece, defects[0], why)
    assert response.status_code == 400
    assert says in text(response)
    assert Evidence.objects.get().withdrawn_at is None


def test_what_others_brought_or_stands_elsewhere_stays(sent, agency, agent, firm, defects):
    ours = bring(defects[0], actor=agent)
    before = evidence_add(
        defects[0].pk, key=uuid4(), stage="before", accepted=photo("blue"), actor=agent, moment=at()
    )
    other_firm = bring(defects[0], contractor=make_firm(agency, "Other Sparks"), colour="green")
    unsent = make_defects(agency, "C2", label="Flat 9")[0]
    elsewhere = bring(unsent, contractor=firm)
    of_the_other = bring(defects[1], contractor=firm, colour="white")
    for piece in (ours, before, other_firm, elsewhere, of_the_other):
        response = withdraw(sent, piece, defects[0])
        assert response.status_code == 400
        assert "not among what you sent" in text(response)
    assert withdraw(sent, elsewhere, unsent).status_code == 409
    assert not Evidence.objects.exclude(withdrawn_at=None).exists()
    for number in ("", "x", "999999"):
        said = {"do": "withdraw", "defect": defects[0].pk, "piece": number, "why": "Wrong."}
        assert Client().post(reverse("job_link", args=[sent[1]]), said).status_code == 400


def test_twice_is_told_and_changes_nothing(sent, firm, defects):
    piece = bring(defects[0], contractor=firm)
    bring(defects[0], contractor=firm, colour="green")
    assert withdraw(sent, piece, defects[0]).status_code == 200
    response = withdraw(sent, piece, defects[0], "Again.")
    assert "withdrawn already" in text(response)
    piece.refresh_from_db()
    assert piece.withdrawn_why == "The wrong room."
    assert Event.objects.filter(verb="evidence.withdrawn").count() == 1


def test_not_after_a_confirmation_nor_by_a_dead_link(sent, agency, agent, firm, defects):
    first, second = (
        bring(defect, contractor=firm, colour=colour)
        for defect, colour in zip(defects, ("red", "green"), strict=True)
    )
    defect_claim_done(defects[0].pk, on=DAY, work="accessory_swap", actor=None, contractor=firm, moment=at())
    defect_confirm(defects[0].pk, no_paper_why="None.", actor=make_user(agency, "inspector"), moment=at())
    assert withdraw(sent, first, defects[0]).status_code == 409
    with pytest.raises(jobs.JobOver):
        jobs.job_proof_withdraw(sent[0].pk, first.pk, why="Wrong.", moment=at())
    jobs.job_take_back(sent[0].pk, why="Too slow.", actor=agent, moment=at())
    assert withdraw(sent, second, defects[1]).status_code == 404
    with pytest.raises(jobs.JobOver):
        jobs.job_proof_withdraw(sent[0].pk, second.pk, why="Wrong.", moment=at())
    assert not Evidence.objects.exclude(withdrawn_at=None).exists()


def test_looking_never_withdraws_and_it_counts_like_all_that_is_sent(sent, firm, defects, monkeypatch):
    piece = bring(defects[0], contractor=firm)
    address = reverse("job_link", args=[sent[1]])
    Client().get(address, {"do": "withdraw", "defect": defects[0].pk, "piece": piece.pk, "why": "Wrong."})
    assert Evidence.objects.get().withdrawn_at is None
    monkeypatch.setattr("inspections.views.job_link.MOST_SENT", 0)
    assert withdraw(sent, piece, defects[0]).status_code == 429
    assert Evidence.objects.get().withdrawn_at is None
