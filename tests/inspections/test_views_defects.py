"""Recording a defect and putting it right, on the pages."""

from datetime import date

import pytest
from django.urls import reverse

from inspections.models import Contractor, Defect, Job, JobItem
from inspections.selectors.defects import defect_page
from inspections.services.defects import defect_claim_done
from portfolio import gate
from portfolio.law import model as law
from portfolio.models import Clearance
from tests.factories import at, make_agency, make_home, make_user, signed_in

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("noon")]

C2 = {"title": "Cracked socket", "code": "bs7671:C2", "found": "2026-11-24", "room": "", "certificate": ""}


@pytest.fixture
def agency():
    return make_agency()


@pytest.fixture
def home(agency):
    return make_home(agency)


@pytest.fixture
def defect(agency):
    found = law.Defect("d1", "bs7671", "C2", "Cracked socket", date(2026, 11, 20))
    return Defect.objects.get(unit=make_home(agency, defects=(found,)))


@pytest.fixture
def agent(agency):
    return signed_in(make_user(agency))


@pytest.fixture
def inspector(agency):
    return signed_in(make_user(agency, "inspector"))


def text(response) -> str:
    return " ".join(response.content.decode().split())


def test_recording_a_c2_takes_the_mark_away(agency, agent, home):
    gate.mark(home.pk, "let", actor=make_user(agency), moment=at())
    response = agent.post(reverse("defect_add", args=[home.pk]), C2, follow=True)
    assert "Cracked socket" in text(response)
    assert Clearance.objects.get().withdrawn_on == date(2026, 11, 25)


@pytest.mark.parametrize(
    ("changes", "field"),
    [({"code": "bs7671:ID"}, "code"), ({"code": ""}, "code"), ({"title": ""}, "title"), ({"found": ""}, "found"),
     ({"room": "999999"}, "room")],
)  # fmt: skip
def test_a_fault_is_named_and_nothing_is_recorded(agent, home, changes, field):
    response = agent.post(reverse("defect_add", args=[home.pk]), C2 | changes)
    assert field in response.context["form"].errors
    assert not Defect.objects.exists()


@pytest.mark.parametrize(
    ("found", "taken"), [("2026-11-24", True), ("2026-11-25", True), ("2026-11-26", False)]
)
def test_a_defect_is_not_found_tomorrow(agent, home, found, taken):
    response = agent.post(reverse("defect_add", args=[home.pk]), C2 | {"found": found})
    assert response.status_code == (302 if taken else 200)
    assert Defect.objects.exists() is taken


def test_rooms_and_papers_of_another_home_cannot_be_chosen(agent, agency, home):
    other = make_home(agency)
    changes = {"room": other.rooms.first().pk, "certificate": other.certificates.first().pk}
    response = agent.post(reverse("defect_add", args=[home.pk]), C2 | changes)
    assert {"room", "certificate"} <= response.context["form"].errors.keys()


DONE = {"done-on": "2026-11-24", "done-work": "accessory_swap"}


def test_said_done_then_confirmed_by_an_inspector(agent, inspector, defect):
    url = reverse("defect", args=[defect.pk])
    response = agent.post(reverse("defect_claim_done", args=[defect.pk]), DONE, follow=True)
    assert response.redirect_chain[-1][0] == url
    page = text(agent.get(url))
    assert "said to be done" in page
    assert "Waits for a competent inspector" in page
    assert reverse("defect_confirm", args=[defect.pk]) not in page
    defect.unit.standing.refresh_from_db()
    assert not defect.unit.standing.let_clear
    assert reverse("defect_confirm", args=[defect.pk]) in text(inspector.get(url))
    response = inspector.post(reverse("defect_confirm", args=[defect.pk]), follow=True)
    assert "Confirmed as put right" in text(response)
    defect.unit.standing.refresh_from_db()
    assert defect.unit.standing.let_clear


def test_whoever_said_it_was_done_is_not_offered_and_cannot_confirm(agency, defect):
    user = make_user(agency, "inspector")
    Defect.objects.update(completed=date(2026, 11, 24), completed_by=user, work="accessory_swap")
    client = signed_in(user)
    page = text(client.get(reverse("defect", args=[defect.pk])))
    assert reverse("defect_confirm", args=[defect.pk]) not in page
    assert "You recorded that the work is done" in page
    response = client.post(reverse("defect_confirm", args=[defect.pk]))
    assert response.status_code == 409
    assert "somebody else has to confirm it" in text(response)
    defect.refresh_from_db()
    assert defect.confirmed is None


def test_confirming_before_the_work_is_done_is_refused(inspector, defect):
    response = inspector.post(reverse("defect_confirm", args=[defect.pk]))
    assert response.status_code == 409
    assert "Nobody has recorded yet" in text(response)


@pytest.mark.parametrize("on", ["", "soon", "2026-11-26", "2026-11-19"])
def test_work_cannot_be_done_on_no_day_tomorrow_or_before_it_was_found(agent, defect, on):
    response = agent.post(reverse("defect_claim_done", args=[defect.pk]), DONE | {"done-on": on})
    assert response.status_code == 400
    assert 'role="alert"' in text(response)
    defect.refresh_from_db()
    assert defect.completed is None


def test_the_kind_of_work_is_asked_for_and_what_it_leaves_is_shown(agent, inspector, defect):
    url = reverse("defect_claim_done", args=[defect.pk])
    response = agent.post(url, DONE | {"done-work": ""})
    assert response.status_code == 400
    assert "Say what kind of work it was" in text(response)
    agent.post(url, DONE | {"done-work": "rcd_added"})
    page = text(inspector.get(reverse("defect", args=[defect.pk])))
    assert "Minor works certificate" in page
    assert "not come back" in page
    refused = inspector.post(reverse("defect_confirm", args=[defect.pk]))
    assert refused.status_code == 409
    assert "has not come back" in text(refused)
    why = {"confirm-no_paper_why": "The firm is gone."}
    inspector.post(reverse("defect_confirm", args=[defect.pk]), why)
    defect.refresh_from_db()
    assert defect.confirmed == date(2026, 11, 25)
    assert defect.no_paper_why == "The firm is gone."


def test_proof_is_sent_back_with_what_is_missing(agent, inspector, defect):
    agent.post(reverse("defect_claim_done", args=[defect.pk]), DONE)
    url = reverse("defect_send_back", args=[defect.pk])
    assert inspector.post(url, {"back-why": " "}).status_code == 400
    inspector.post(url, {"back-why": "A photo of the socket."})
    page = text(agent.get(reverse("defect", args=[defect.pk])))
    assert "A photo of the socket." in page
    assert "The work is done" in page


def test_made_safe_for_now_is_shown_and_bars_as_before(agent, defect):
    said = {"safe-on": "2026-11-24", "safe-how": "Circuit switched off."}
    response = agent.post(reverse("defect_made_safe", args=[defect.pk]), said, follow=True)
    assert "Circuit switched off." in text(response)
    defect.unit.standing.refresh_from_db()
    assert not defect.unit.standing.let_clear


def test_classing_otherwise_takes_a_reason(agent, inspector, defect):
    url = reverse("defect_recode", args=[defect.pk])
    assert agent.post(url, {"recode-code": "bs7671:C3", "recode-why": "x"}).status_code == 404
    assert inspector.post(url, {"recode-code": "bs7671:C3", "recode-why": ""}).status_code == 400
    inspector.post(url, {"recode-code": "bs7671:C3", "recode-why": "Only a hairline crack."})
    page = text(inspector.get(reverse("defect", args=[defect.pk])))
    assert "Only a hairline crack." in page
    assert "C3: improvement recommended" in page


def test_the_description_is_put_right_and_the_record_says_so(agent, defect):
    said = {
        "describe-title": "Cracked socket by the door",
        "describe-room": defect.unit.rooms.get(use="kitchen").pk,
        "describe-place": "Left of the cooker",
        "describe-note": "",
        "describe-trade": "electrical",
    }
    response = agent.post(reverse("defect_describe", args=[defect.pk]), said, follow=True)
    page = text(response)
    assert "Cracked socket by the door" in page
    assert "Kitchen, ground floor, Left of the cooker" in page
    assert "Description changed" in page


def test_a_landlord_sees_with_whom_it_is_and_who_did_it_but_not_the_job(agency, defect):
    firm = Contractor.objects.create(agency=agency, name="Sparks of Oxcombe", email="s@example.org")
    sender = make_user(agency)
    job = Job.objects.create(agency=agency, number=1, contractor=firm, sent_at=at().at, sent_by=sender)
    JobItem.objects.create(job=job, defect=defect)
    owner = signed_in(make_user(agency, "landlord", landlord=defect.unit.landlord))
    page, home = reverse("defect", args=[defect.pk]), reverse("defects", args=[defect.unit_id])
    for url in (page, home, reverse("open_defects")):
        shown = text(owner.get(url))
        assert "Sparks of Oxcombe" in shown
        assert reverse("job", args=[job.pk]) not in shown
    assert reverse("job", args=[job.pk]) in text(signed_in(sender).get(page))
    defect_claim_done(defect.pk, on=date(2026, 11, 24), actor=None, moment=at(), contractor=firm)
    job.items.update(ended_at=at().at)
    for url in (page, home, reverse("open_defects"), reverse("proof")):
        assert "Sparks of Oxcombe" in text(owner.get(url))
    event = defect_page(defect, make_user(agency), at()).events[0]
    assert (event.actor, event.data["by"]) == (None, "Sparks of Oxcombe")


def test_saying_that_there_is_none_is_one_button(inspector, agency):
    home = make_home(agency, defects=None)
    url = reverse("defects", args=[home.pk])
    assert "It is not recorded whether this home has defects" in text(inspector.get(url))
    inspector.post(reverse("nothing_found", args=[home.pk]))
    assert "No defect is open." in text(inspector.get(url))
    home.standing.refresh_from_db()
    assert home.standing.let_clear


def test_the_page_says_stop_for_a_c1(agent, home):
    agent.post(reverse("defect_add", args=[home.pk]), C2 | {"code": "bs7671:C1"})
    page = text(agent.get(reverse("defects", args=[home.pk])))
    assert "Do not touch it" in page
    assert "it does not inspect or certify" in page
