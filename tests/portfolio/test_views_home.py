"""The page of one home, and its two marks."""

import re
from copy import deepcopy
from datetime import date, timedelta

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from portfolio import gate
from portfolio.law import model as law
from portfolio.models import Clearance, Event
from tests.factories import CLEAR_FLAT, at, make_agency, make_home, make_user, without

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("noon")]

C2 = law.Defect("d1", "bs7671", "C2", "Cracked socket", date(2026, 11, 20))


@pytest.fixture(scope="module")
def common(in_common):
    agent = make_user(make_agency())
    return agent, make_home(agent.agency)


@pytest.fixture
def agent(common):
    return deepcopy(common[0])


@pytest.fixture
def home(common):
    return deepcopy(common[1])


@pytest.fixture
def barred(agent):
    return make_home(agent.agency, certificates=without(CLEAR_FLAT, "e1").certificates, defects=(C2,))


def text(response) -> str:
    return " ".join(response.content.decode().split())


def page_of(as_agent, home, **asked) -> str:
    return text(as_agent.get(reverse("home", args=[home.pk]), asked))


def test_both_answers_stand_in_words_with_their_last_day(as_agent, home):
    page = page_of(as_agent, home)
    assert "Can be let today" in page
    assert '<time datetime="2027-05-20">20 May 2027</time>' in page
    assert "Can be sold today" in page
    assert '<time datetime="2030-09-09">9 Sep 2030</time>' in page


def test_each_bar_comes_with_cure_source_and_basis(as_agent, barred):
    page = page_of(as_agent, barred)
    reasons = as_agent.get(reverse("home", args=[barred.pk])).context["page"].standing.let.bars
    assert len(reasons) >= 2
    for reason in reasons:
        assert reason.says in page
        assert reason.source in page
    assert page.count("To lift it:") >= len(reasons)
    assert "House policy, open dangers" in page
    assert ">house policy</span>" not in page, "the source says so itself"
    assert "from the text" in page


@pytest.mark.parametrize(
    ("day", "words"), [("2027-05-20", "Can be let on"), ("2027-05-21", "Cannot be let on")]
)
def test_another_day_is_asked_about(as_agent, home, day, words):
    page = page_of(as_agent, home, on=day)
    assert words in page
    assert "The answers below are for" in page
    assert 'value="let"><button' not in page, "a mark is set today, never for another day"


def test_a_day_that_cannot_be_understood_is_an_error(as_agent, home):
    page = page_of(as_agent, home, on="soon")
    assert "Enter a valid date." in page
    assert "Can be let today" in page


@pytest.mark.parametrize("day", ["0001-01-01", "1899-12-31", "2201-01-01", "9999-12-31"])
def test_a_day_far_off_is_an_error_too(as_agent, home, day):
    assert "Enter a day" in page_of(as_agent, home, on=day)


def test_a_c1_and_an_id_say_stop(as_agent, agent):
    c1 = law.Defect("a", "bs7671", "C1", "Bare wires", date(2026, 11, 20))
    gas = law.Defect("b", "igem_g11", "ID", "Open flue", date(2026, 11, 20))
    page = page_of(as_agent, make_home(agent.agency, defects=(c1, gas)))
    assert "Do not touch it" in page
    assert "0800111999" in page


def test_a_c2_alone_raises_no_alarm(as_agent, barred):
    assert "Danger: stop and read" not in page_of(as_agent, barred)


def test_what_is_not_recorded_leads_to_the_very_field(as_agent, agent):
    home = make_home(agent.agency, alarms=None, landlord=None, main_board_rcd_30ma=None)
    anchors = re.findall(rf'{reverse("home_facts", args=[home.pk])}#([\w-]+)"', page_of(as_agent, home))
    assert {"alarms", "id_home-landlord_kind", "id_home-main_board_rcd_30ma"} <= set(anchors)
    facts = text(as_agent.get(reverse("home_facts", args=[home.pk])))
    for anchor in anchors:
        assert f'id="{anchor}"' in facts


def test_a_home_with_everything_recorded_has_no_such_list(as_agent, home):
    assert "not recorded</strong>" not in page_of(as_agent, home)


def test_the_page_takes_the_same_queries_however_much_is_on_record(as_agent, agent, home):
    page_of(as_agent, home)
    with CaptureQueriesContext(connection) as few:
        page_of(as_agent, home)
    papers = tuple(
        law.Certificate(
            f"g{n}",
            "gas_safety_record",
            inspected=date(2026, 4, 2) - timedelta(days=300 * n),
            appliances=(law.ApplianceCheck("boiler", "safe"),),
        )
        for n in range(12)
    )
    defects = tuple(law.Defect(f"d{n}", "bs7671", "C3", "Old", date(2026, 1, 1)) for n in range(12))
    full = make_home(agent.agency, certificates=papers, defects=defects)
    with CaptureQueriesContext(connection) as more:
        page_of(as_agent, full)
    assert len(more) <= len(few) + 1 <= 40


def test_marking_a_clear_home(as_agent, home):
    response = as_agent.post(reverse("mark", args=[home.pk]), {"purpose": "let"}, follow=True)
    assert "Marked to let. The mark holds until 20 May 2027" in text(response)
    assert Clearance.objects.get().withdrawn_at is None


def test_marking_a_barred_home_is_refused_with_every_reason(as_agent, barred):
    response = as_agent.post(reverse("mark", args=[barred.pk]), {"purpose": "let"})
    assert response.status_code == 409
    page = text(response)
    assert "Refused: not marked to let" in page
    assert "There is no electrical report." in page
    assert "Cracked socket" in page
    assert not Clearance.objects.exists()


def test_no_button_where_the_mark_would_be_refused(as_agent, barred):
    assert reverse("mark", args=[barred.pk]) not in page_of(as_agent, barred)


@pytest.mark.parametrize("name", ["mark", "unmark"])
def test_get_changes_nothing(as_agent, home, name):
    assert as_agent.get(reverse(name, args=[home.pk]), {"purpose": "let", "why": "x"}).status_code == 405
    assert not Clearance.objects.exists()


def test_marking_needs_the_token_of_the_page(agent, home):
    as_agent = Client(enforce_csrf_checks=True)
    as_agent.force_login(agent)
    assert as_agent.post(reverse("mark", args=[home.pk]), {"purpose": "let"}).status_code == 403
    assert not Clearance.objects.exists()


@pytest.mark.parametrize("purpose", ["", "both"])
def test_an_unknown_mark_is_refused(as_agent, home, purpose):
    assert as_agent.post(reverse("mark", args=[home.pk]), {"purpose": purpose}).status_code == 400


def test_taking_a_mark_back_needs_a_reason_and_keeps_it(as_agent, agent, home):
    gate.mark(home.pk, "sale", actor=agent, moment=at())
    url = reverse("unmark", args=[home.pk])
    assert as_agent.post(url, {"purpose": "sale", "why": " "}).status_code == 400
    assert Clearance.objects.get().withdrawn_at is None
    as_agent.post(url, {"purpose": "sale", "why": "Owner changed their mind"})
    assert Clearance.objects.get().withdrawn_why == "Owner changed their mind"


def test_taking_back_what_is_gone_says_so(as_agent, home):
    response = as_agent.post(
        reverse("unmark", args=[home.pk]), {"purpose": "let", "why": "Late"}, follow=True
    )
    assert "does not carry the mark" in text(response)


def test_a_landlord_sees_the_answers_but_no_button(agent, home):
    landlord = Client()
    landlord.force_login(make_user(agent.agency, "landlord", landlord=home.landlord))
    page = page_of(landlord, home)
    assert "Can be let today" in page
    for name in ("mark", "unmark", "home_facts", "defect_add", "act_add"):
        assert reverse(name, args=[home.pk]) not in page
    assert reverse("certificate_add", args=[home.pk]) in page


def test_the_whole_record_has_its_own_page(as_agent, home):
    response = as_agent.get(reverse("home_events", args=[home.pk]))
    assert text(response).count("<tr>") == Event.objects.filter(unit=home).count() + 1


def test_the_health_page_needs_no_log_in():
    response = Client().get(reverse("healthz"))
    assert (response.status_code, response.content) == (200, b"ok")
