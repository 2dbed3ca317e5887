"""Reasons on a page: one thing once, every source beside it, and the next step where the person may take it."""

import pytest
from django.test import Client
from django.urls import reverse

from portfolio.law import model as law
from tests.factories import CLEAR_FLAT, DAY, make_agency, make_home, make_user, without

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("noon")]


@pytest.fixture
def agency():
    return make_agency()


def page(home, user) -> str:
    client = Client()
    client.force_login(user)
    return client.get(reverse("home", args=[home.pk])).content.decode()


def test_a_danger_barred_by_law_and_by_policy_is_told_once_with_both_sources(agency):
    danger = law.Defect("d1", "bs7671", "C2", "Loose socket", DAY)
    shown = page(make_home(agency, defects=(danger,)), make_user(agency))
    assert "1 thing stands against it" in shown
    assert "SI 2020/312" in shown
    assert "House policy" in shown


@pytest.mark.parametrize(("ref", "kind"), [("e1", "eicr"), ("p1", "epc"), ("g1", "gas_safety_record")])
def test_a_missing_paper_leads_to_the_page_that_adds_it(agency, ref, kind):
    refs = ("g0", "g1") if ref == "g1" else (ref,)
    home = make_home(agency, certificates=without(CLEAR_FLAT, *refs).certificates)
    url = f"{reverse('certificate_add', args=[home.pk])}?kind={kind}"
    assert url in page(home, make_user(agency))


@pytest.mark.parametrize(
    ("changes", "anchor"),
    [
        ({"letting": law.Letting()}, "id_home-letting_kind"),
        ({"landlord": None}, "id_home-landlord_kind"),
        ({"alarms": None}, "alarms"),
    ],
)
def test_a_fact_nobody_recorded_leads_to_its_field(agency, changes, anchor):
    home = make_home(agency, **changes)
    url = reverse("home_facts", args=[home.pk])
    shown = page(home, make_user(agency))
    assert f"{url}#{anchor}" in shown
    client = Client()
    client.force_login(make_user(agency))
    assert f'id="{anchor}' in client.get(url).content.decode()


def test_a_paper_without_its_day_leads_to_its_correction(agency):
    undated = law.Certificate("e1", "eicr", outcome="satisfactory")
    home = make_home(agency, certificates=(undated, *CLEAR_FLAT.certificates[1:]))
    paper = home.certificates.get(ref="e1")
    assert reverse("certificate_correct", args=[paper.pk]) in page(home, make_user(agency))


def test_a_step_a_person_may_not_take_is_not_offered(agency):
    home = make_home(agency, letting=law.Letting())
    owner = make_user(agency, "landlord", landlord=home.landlord)
    assert reverse("home_facts", args=[home.pk]) not in page(home, owner)
