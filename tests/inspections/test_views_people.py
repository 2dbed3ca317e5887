"""Contractors, registrations and competence on their pages: recorded, changed, withdrawn, never deleted."""

from datetime import date, timedelta

import pytest
from django.core.exceptions import ValidationError
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from inspections.models import Competence, Contractor, Registration
from inspections.services import people
from inspections.services.competence import competent_for
from inspections.services.defects import NotAllowed
from inspections.services.registrations import why_not_send
from portfolio.models import Event
from portfolio.services.events import verify
from tests.factories import DAY, at, make_agency, make_user, signed_in
from tests.inspections.job_cases import make_defects, make_firm

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("noon")]
FIRM = {
    "name": "Wire & Co",
    "email": "wire@example.org",
    "phone": "01632 960555",
    "trades": ["fire", "electrical"],
}


@pytest.fixture
def agency():
    return make_agency()


@pytest.fixture
def agent(agency):
    return make_user(agency)


@pytest.fixture
def client(agent):
    return signed_in(agent)


@pytest.fixture
def inspector(agency):
    return make_user(agency, "inspector", competent=())


def text(response) -> str:
    return " ".join(response.content.decode().split())


def test_a_contractor_is_recorded_changed_and_no_longer_used(client, agency, agent, inspector):
    client.post(reverse("contractor_add"), {**FIRM, "people": [inspector.pk]})
    firm = Contractor.objects.get()
    assert (firm.agency, firm.trades, firm.people.get()) == (agency, ["electrical", "fire"], inspector)
    url = reverse("contractor_change", args=[firm.pk])
    assert 'value="wire@example.org"' in text(client.get(url))
    client.post(url, {**FIRM, "email": "new@example.org", "ended": "2026-11-25"})
    firm.refresh_from_db()
    assert (firm.email, firm.ended, firm.people.count()) == ("new@example.org", DAY, 0)
    assert "No longer used since" in text(client.get(reverse("contractor", args=[firm.pk])))
    lines = Event.objects.filter(verb="contractor.changed").order_by("seq")
    assert f"tied to it: {inspector}" in lines[0].says
    assert "tied to it: nobody of ours; no longer used since 25 Nov 2026" in lines[1].says
    assert firm.history.count() == 2
    assert verify(agency) is None


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        ({"name": ""}, "Name of the firm"),
        ({"email": "nobody"}, "valid email"),
        ({"trades": []}, "one trade at least"),
        ({"trades": ["magic"]}, "Select a valid choice"),
        ({"ended": "2026-11-26"}, "lies in the future"),
        ({"people": ["987654"]}, "Select a valid choice"),
    ],
)
def test_a_contractor_that_cannot_be_is_refused(client, changes, said):
    response = client.post(reverse("contractor_add"), FIRM | changes)
    assert response.status_code == 400
    assert said in text(response)
    assert not Contractor.objects.exists()


def test_a_firm_of_the_same_name_is_refused(client, agency):
    make_firm(agency)
    response = client.post(reverse("contractor_add"), FIRM)
    assert response.status_code == 400
    assert Contractor.objects.count() == 1


def test_people_of_another_agency_cannot_be_tied(client, agency):
    stranger = make_user(make_agency(), "inspector")
    assert client.post(reverse("contractor_add"), {**FIRM, "people": [stranger.pk]}).status_code == 400


def test_a_registration_is_recorded_and_from_then_on_counts(client, agency):
    firm, defects = make_firm(agency, electrical=None), make_defects(agency, "C2")
    assert why_not_send(firm, defects, DAY)
    told = {"kind": "electrical", "number": "E-1", "until": "2027-11-30", "checked_on": "2026-11-25"}
    client.post(reverse("registration_add", args=[firm.pk]), told)
    assert why_not_send(Contractor.objects.get(), defects, DAY) == []
    held = Registration.objects.get(number="E-1")
    assert (held.until, held.checked_on) == (date(2027, 11, 30), DAY)
    client.post(reverse("registration_change", args=[held.pk]), told | {"until": ""})
    assert why_not_send(Contractor.objects.get(), defects, DAY)
    assert "last good day not recorded" in Event.objects.order_by("-seq")[0].says


def test_a_look_up_of_tomorrow_is_refused(client, agency):
    firm = make_firm(agency)
    told = {"kind": "gas", "checked_on": "2026-11-26"}
    response = client.post(reverse("registration_add", args=[firm.pk]), told)
    assert response.status_code == 400
    assert "lies in the future" in text(response)


def test_a_registration_is_withdrawn_with_a_reason_and_stays_on_record(client, agency):
    firm = make_firm(agency)
    held = firm.registrations.get(kind="electrical")
    url = reverse("registration_withdraw", args=[held.pk])
    assert client.post(url, {"why": ""}).status_code == 400
    client.post(url, {"why": "Struck off."})
    held.refresh_from_db()
    assert held.withdrawn == DAY
    assert why_not_send(Contractor.objects.get(), make_defects(agency, "C2"), DAY)
    shown = text(client.get(reverse("contractor", args=[firm.pk])))
    assert "withdrawn on 25 Nov 2026" in shown
    changed = client.post(
        reverse("registration_change", args=[held.pk]), {"kind": "electrical", "until": "2030-01-01"}
    )
    assert changed.status_code == 400
    assert Event.objects.filter(says__contains="withdrawn. Struck off.").count() == 1


@pytest.mark.parametrize(
    ("days", "said"),
    [
        (-1, "ended on 24 Nov 2026"),
        (0, "ends soon, on 25 Nov 2026"),
        (31, "good until 26 Dec 2026"),
        (None, "not recorded"),
    ],
)
def test_the_list_says_in_words_what_lapses(client, agency, days, said):
    make_firm(agency, electrical=None if days is None else DAY + timedelta(days))
    assert (
        f"Electrical competent-person scheme: {'its last good day is ' if days is None else ''}{said}"
        in text(client.get(reverse("contractors")))
    )


def test_a_competence_is_recorded_and_withdrawn(client, inspector):
    assert "No competence is on record" in text(client.get(reverse("people")))
    url = reverse("competence_add", args=[inspector.pk])
    client.post(url, {"scheme": "bs7671", "by": "Level 3, Q-1", "until": "2026-11-25"})
    assert competent_for(inspector, DAY) == {"bs7671"}
    assert competent_for(inspector, DAY + timedelta(1)) == set()
    assert "ends soon, on 25 Nov 2026" in text(client.get(reverse("people")))
    held = Competence.objects.get()
    client.post(reverse("competence_withdraw", args=[held.pk]), {"why": "Wrong person."})
    assert competent_for(inspector, DAY) == set()
    assert Competence.objects.get().withdrawn == DAY
    assert "withdrawn on 25 Nov 2026" in text(client.get(reverse("people")))
    verbs = Event.objects.filter(subject=f"competence:{held.pk}").values_list("verb", flat=True)
    assert list(verbs) == ["competence.changed"] * 2


@pytest.mark.parametrize(
    ("told", "said"),
    [
        ({"by": ""}, "By what"),
        ({"scheme": ""}, "May judge"),
        ({"until": "2026-11-24"}, "last good day is past"),
    ],
)
def test_a_competence_that_proves_nothing_is_refused(client, inspector, told, said):
    url = reverse("competence_add", args=[inspector.pk])
    response = client.post(url, {"scheme": "bs7671", "by": "Level 3", "until": "", **told})
    assert response.status_code == 400
    assert said in text(response)
    assert not Competence.objects.exists()


def test_only_inspectors_have_one(client, agency):
    url = reverse("competence_add", args=[make_user(agency, "landlord").pk])
    response = client.post(url, {"scheme": "bs7671", "by": "Level 3"})
    assert response.status_code == 400
    assert not Competence.objects.exists()


@pytest.mark.parametrize("role", ["landlord", "inspector"])
def test_nobody_but_an_agent_records_any_of_it(agency, role):
    user, firm = make_user(agency, role), make_firm(agency)
    common = {"actor": user, "moment": at()}
    for act in (
        lambda: people.contractor_save(None, name="x", email="x@example.org", trades=["gas"], **common),
        lambda: people.registration_save(firm.pk, None, kind="gas", **common),
        lambda: people.registration_withdraw(firm.registrations.all()[0].pk, why="x", **common),
        lambda: people.competence_record(user.pk, scheme="fire", by="x", **common),
    ):
        with pytest.raises(NotAllowed):
            act()


def test_records_of_another_agency_are_out_of_reach(agency):
    stranger, firm = make_user(make_agency()), make_firm(agency)
    inspector = make_user(agency, "inspector", competent=["fire"])
    common = {"actor": stranger, "moment": at()}
    with pytest.raises(Contractor.DoesNotExist):
        people.contractor_save(firm.pk, name="x", email="x@example.org", trades=["gas"], **common)
    with pytest.raises(Contractor.DoesNotExist):
        people.registration_save(firm.pk, None, kind="gas", **common)
    with pytest.raises(Registration.DoesNotExist):
        people.registration_withdraw(firm.registrations.all()[0].pk, why="x", **common)
    with pytest.raises(Competence.DoesNotExist):
        people.competence_withdraw(inspector.competences.get().pk, why="x", **common)


def test_a_reason_is_asked_for_by_the_services_too(agent, agency, inspector):
    held = make_firm(agency).registrations.all()[0]
    with pytest.raises(ValidationError):
        people.registration_withdraw(held.pk, why=" ", actor=agent, moment=at())


def test_lists_ask_the_same_number_of_questions_however_long(client, agency):
    def asked(name):
        with CaptureQueriesContext(connection) as queries:
            client.get(reverse(name))
        return len(queries)

    make_firm(agency)
    make_user(agency, "inspector")
    asked("contractors")
    before = asked("contractors"), asked("people")
    for number in range(3):
        make_firm(agency, f"Firm {number}")
        make_user(agency, "inspector")
    assert (asked("contractors"), asked("people")) == before
