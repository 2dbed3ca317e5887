"""The page of one home as it stood on record at the end of an earlier day: for reading, and without what came later."""

from copy import deepcopy
from dataclasses import replace
from datetime import timedelta

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from inspections.services.defects import defect_record
from portfolio import gate, house_policy
from portfolio.facts import certificate_facts, facts_of
from portfolio.law import model as law
from portfolio.models import HousePolicy
from portfolio.services import homes as service
from portfolio.services.certificates import certificate_add, certificate_correct
from tests.factories import DAY, at, make_agency, make_home, make_user

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("noon")]

FIRST = DAY - timedelta(days=10)
BEFORE = DAY - timedelta(days=1)


@pytest.fixture(scope="module")
def common(in_common):
    agent = make_user(make_agency())
    return agent, make_home(agent.agency, day=FIRST)


@pytest.fixture
def agent(common):
    return deepcopy(common[0])


@pytest.fixture
def home(common):
    return deepcopy(common[1])


def page_of(as_agent, home, **how) -> str:
    response = as_agent.get(
        reverse("home", args=[home.pk]), {name: str(value) for name, value in how.items()}
    )
    assert response.status_code == 200
    return " ".join(response.content.decode().split())


def c2(home, agent) -> None:
    defect_record(
        home.pk, scheme="bs7671", code="C2", title="Cracked socket", found=FIRST, actor=agent, moment=at()
    )


def test_a_defect_recorded_later_does_not_show(as_agent, agent, home):
    c2(home, agent)
    then, now = page_of(as_agent, home, known=BEFORE), page_of(as_agent, home, known=DAY)
    assert "As it stood on our record at the end of 24 November 2026" in then
    assert "Can be let on 24 Nov 2026" in then
    assert "Cracked socket" not in then
    assert "Cannot be let today" in now
    assert "Cracked socket" in now


def test_another_day_may_be_asked_about_with_what_was_known_then(as_agent, home):
    page = page_of(as_agent, home, known=BEFORE, on="2027-05-21")
    assert "Cannot be let on 21 May 2027" in page
    assert "at the end of 24 November 2026, asked about 21 May 2027" in page


def test_a_correction_made_later_does_not_show(as_agent, agent, home):
    row = home.certificates.get(ref="e1")
    wrong = replace(certificate_facts(row, []), number="CORRECTED-77")
    certificate_correct(row.pk, wrong, why="Misread.", actor=agent, moment=at())
    then = page_of(as_agent, home, known=BEFORE)
    assert "CORRECTED-77" not in then
    assert "Misread" not in then
    assert "EI-1" in then
    assert "CORRECTED-77" in page_of(as_agent, home)


def test_a_new_name_and_landlord_do_not_show(as_agent, agent, home):
    building, unit = facts_of([home.pk])[home.pk]
    changed = replace(unit, label="Garden flat", landlord_ref="Nobody Before")
    service.home_edit(home.pk, building=building, unit=changed, actor=agent, moment=at())
    then = page_of(as_agent, home, known=BEFORE)
    main = then.partition("<h1>")[2]
    assert "Garden flat" not in main
    assert "Nobody Before" not in main
    assert "Garden flat" in page_of(as_agent, home)


def test_a_mark_shows_as_it_was(as_agent, agent, home):
    gate.mark(home.pk, "let", actor=agent, moment=at(FIRST))
    c2(home, agent)
    then = page_of(as_agent, home, known=BEFORE)
    assert "Marked to let</strong>" in then
    assert "withdrawn" not in then.partition('id="record"')[0]
    assert "was withdrawn by itself" in page_of(as_agent, home, known=DAY)


def test_a_mark_set_later_does_not_show(as_agent, agent, home):
    gate.mark(home.pk, "let", actor=agent, moment=at())
    assert "Marked to let</strong>" not in page_of(as_agent, home, known=BEFORE)
    assert "Marked to let</strong>" in page_of(as_agent, home, known=DAY)


def test_a_house_policy_put_into_force_later_is_not_asked(as_agent, agent, home):
    HousePolicy.objects.create(
        agency=agent.agency, settings={"worst_band": "B"}, why="Better homes.", asked_at=at().at, in_force_at=at().at
    )  # fmt: skip
    assert house_policy.in_force() != house_policy.in_force(at(BEFORE).at)
    assert "Can be let on" in page_of(as_agent, home, known=BEFORE)
    assert "Cannot be let today" in page_of(as_agent, home, known=DAY)


def test_an_earlier_record_offers_nothing_to_do(as_agent, agent, home):
    service.act_add(home.pk, law.Act("aware", None, "tenant", FIRST), actor=agent, moment=at(FIRST))
    page = page_of(as_agent, home, known=DAY)
    names = (
        "mark",
        "unmark",
        "home_facts",
        "defect_add",
        "act_add",
        "certificate_add",
        "tenancy_add",
        "defects",
    )
    for name in names:
        assert reverse(name, args=[home.pk]) not in page
    assert 'method="post"' not in page.partition("<main")[2]
    assert "Your letting agent can record it" not in page


def test_before_it_was_recorded_there_is_a_plain_page(as_agent, home):
    page = page_of(as_agent, home, known=FIRST - timedelta(days=1))
    assert "this home was not on our record yet" in page
    assert "Can be let" not in page


@pytest.mark.parametrize(
    ("known", "says"),
    [("2026-11-26", "lies in the future"), ("soon", "Enter a valid date"), ("0001-01-01", "Enter a day")],
)
def test_a_day_that_cannot_be_known_is_said_to_be_wrong(as_agent, home, known, says):
    page = page_of(as_agent, home, known=known)
    assert says in page
    assert "Can be let today" in page


def test_a_landlord_sees_nothing_of_the_time_before_the_home_was_theirs(agent):
    home = make_home(agent.agency, day=FIRST, landlord_ref="Former")
    building, unit = facts_of([home.pk])[home.pk]
    service.home_edit(
        home.pk, building=building, unit=replace(unit, landlord_ref="Present"), actor=agent, moment=at()
    )
    home.refresh_from_db()
    as_agent = Client()
    as_agent.force_login(make_user(agent.agency, "landlord", landlord=home.landlord))
    then = page_of(as_agent, home, known=BEFORE)
    assert "was not on record as yours" in then
    assert "Former" not in then
    assert "Can be let today" in page_of(as_agent, home, known=DAY)


def test_it_takes_the_same_queries_however_much_is_on_record(as_agent, agent, home):
    page_of(as_agent, home, known=DAY)
    with CaptureQueriesContext(connection) as few:
        page_of(as_agent, home, known=DAY)
    for ago in range(8):
        paper = law.Certificate("", "pat", inspected=FIRST - timedelta(days=ago))
        certificate_add(home.pk, paper, document=None, actor=agent, moment=at())
    c2(home, agent)
    with CaptureQueriesContext(connection) as more:
        page_of(as_agent, home, known=DAY)
    assert len(more) <= len(few) + 1 <= 36


# --- the line of record ------------------------------------------------------------------------------


def record_of(client, home, **how) -> str:
    response = client.get(reverse("home_events", args=[home.pk]), how)
    assert response.status_code == 200
    return " ".join(response.content.decode().split())


@pytest.mark.parametrize(
    ("known", "lines", "shows"),
    [(FIRST - timedelta(days=1), 0, False), (FIRST, 1, False), (BEFORE, 1, False), (DAY, 2, True)],
)
def test_the_record_can_be_read_as_it_was_at_the_end_of_a_day(as_agent, agent, home, known, lines, shows):
    c2(home, agent)
    page = record_of(as_agent, home, known=str(known))
    assert f"Only what was written by the end of {known:%-d %B %Y}." in page
    assert f"{lines} line{'' if lines == 1 else 's'}, the latest first" in page
    assert ("Cracked socket" in page) is shows
    assert f'href="{reverse("home", args=[home.pk])}?known={known}"' in page
    assert "2 lines, the latest first" in record_of(as_agent, home)


@pytest.mark.parametrize(("known", "says"), [("2026-11-26", "lies in the future"), ("soon", "valid date")])
def test_the_record_of_no_such_day_is_the_whole_record(as_agent, home, known, says):
    page = record_of(as_agent, home, known=known)
    assert says in page
    assert "1 line, the latest first" in page


def test_a_long_record_is_led_to_and_turned_over_as_it_was_known(as_agent, agent, home, monkeypatch):
    monkeypatch.setattr("portfolio.views.home.EVENTS_PER_PAGE", 20)
    for ago in range(21):
        done = law.Act("request_received", None, "prospect", BEFORE - timedelta(days=ago))
        service.act_add(home.pk, done, actor=agent, moment=at(BEFORE))
    c2(home, agent)
    url = f"{reverse('home_events', args=[home.pk])}?known={BEFORE}"
    assert f'href="{url}">All 22 lines' in page_of(as_agent, home, known=BEFORE)
    page = record_of(as_agent, home, known=str(BEFORE))
    assert "Page 1 of 2" in page
    assert f"?known={BEFORE}&amp;page=2" in page
    assert "2 lines" not in page.replace("22 lines", "")
