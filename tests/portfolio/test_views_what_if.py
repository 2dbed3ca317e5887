"""What if announced law came into force: the homes it alone would bar, on the page."""

from copy import deepcopy
from datetime import date, timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from portfolio.law import model as law
from portfolio.law.loader import load
from portfolio.law.variants import announced
from portfolio.models import HousePolicy, StoredStanding
from portfolio.selectors import what_if
from tests.factories import CLEAR_FLAT, DAY, at, make_agency, make_home, make_user, signed_in, without

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("noon")]

BAND_C = date(2030, 10, 1)
LAST_GAS_DAY = date(2027, 5, 20)


@pytest.fixture(scope="module")
def common(in_common):
    """An agent, and a home of theirs of each of three bands."""
    agent = make_user(make_agency("Latchford Lettings"))
    return agent, {
        band: make_home(agent.agency, ref=f"band-{band}", label=f"Flat {band}", certificates=rated(band))
        for band in "CDF"
    }


@pytest.fixture
def agent(common):
    return deepcopy(common[0])


@pytest.fixture
def ask(agent):
    return lambda **asked: signed_in(agent).get(reverse("what_if"), asked)


def rated(rating: str) -> tuple[law.Certificate, ...]:
    paper = law.Certificate(
        "p1", "epc", "0000-1111", registered=date(2026, 9, 10), until=date(2036, 9, 9), rating=rating
    )
    return (*without(CLEAR_FLAT, "p1").certificates, paper)


@pytest.fixture
def homes(common):
    return deepcopy(common[1])


def shown(response) -> dict[str, bool]:
    return {line.home.ref: line.anyway for line in response.context["lines"]}


def test_before_anything_is_chosen_everything_that_can_be_reckoned_with_is_offered(ask):
    offered = [value for value, _ in ask().context["form"].fields["assume"].choices]
    usable = {name for name, (_, entry) in announced(load()).items() if entry.sets}
    assert set(offered) - {""} == usable
    assert "Nothing is stored" in ask().content.decode()


def test_as_if_in_force_today_it_bars_what_is_clear_and_not_what_is_barred_for_the_same(homes, ask):
    response = ask(assume="band_c_2030", begins=DAY.isoformat())
    assert shown(response) == {"band-D": False}
    assert response.context["day"] == DAY
    assert (response.context["found"].asked, response.context["found"].anyway) == (3, 0)
    assert "The energy band is D" in response.content.decode()


def test_by_itself_it_is_asked_on_the_day_announced_when_papers_have_lapsed(homes, ask):
    response = ask(assume="band_c_2030")
    assert (response.context["begins"], response.context["day"]) == (BAND_C, BAND_C)
    assert shown(response) == {"band-D": True}
    said = response.content.decode()
    assert "papers good today will have lapsed" in said
    assert "as if it were in force today" in said


@pytest.mark.parametrize("day", [LAST_GAS_DAY, LAST_GAS_DAY + timedelta(days=1)])
def test_a_home_counts_as_barred_anyway_from_the_day_after_its_last(homes, ask, day):
    response = ask(assume="band_c_2030", begins=DAY.isoformat(), on=day.isoformat())
    assert shown(response) == {"band-D": day > LAST_GAS_DAY}


@pytest.mark.parametrize(("day", "there"), [(date(2027, 2, 28), False), (date(2027, 3, 1), True)])
def test_it_reaches_nothing_before_the_day_it_is_taken_to_begin(homes, ask, day, there):
    response = ask(assume="band_c_2030", begins="2027-03-01", on=day.isoformat())
    assert ("band-D" in shown(response)) is there
    assert ("before the day it is taken to begin" in response.content.decode()) is not there


def test_law_without_a_day_is_taken_to_begin_today(homes, ask):
    response = ask(assume="landlord_database")
    assert (response.context["begins"], response.context["day"]) == (DAY, DAY)
    assert set(shown(response)) == {"band-C", "band-D", "band-F"}
    assert shown(response)["band-F"]


def test_law_that_only_warns_is_said_to_bar_nothing(homes, ask):
    response = ask(assume="damp_days_private")
    assert shown(response) == {}
    assert "stops no letting and no sale" in response.content.decode()


@pytest.mark.parametrize(
    "asked",
    [
        {"assume": "nothing"}, {"assume": "hazard_penalty"}, {"assume": ""}, {"assume": "band_c_2030", "on": "never"},
        {"assume": "band_c_2030", "begins": "0026-01-01"},
    ],
)  # fmt: skip
def test_a_wrong_choice_is_told(homes, ask, asked):
    response = ask(**asked)
    assert response.status_code == 200
    assert 'class="errorlist"' in response.content.decode()
    assert "lines" not in response.context


def test_nothing_stored_changes(homes, ask):
    before = list(StoredStanding.objects.order_by("pk").values())
    ask(assume="band_c_2030", begins=DAY.isoformat())
    assert list(StoredStanding.objects.order_by("pk").values()) == before


def test_the_agencys_own_policy_stands_beside_what_is_assumed(agent, homes, ask):
    """With days in hand asked for, the flat is barred anyway while its gas check runs out."""
    HousePolicy.objects.create(
        agency=agent.agency,
        settings={"gas_margin_days": 366},
        why="Asked.",
        asked_at=at().at,
        in_force_at=at().at,
    )
    assert shown(ask(assume="band_c_2030", begins=DAY.isoformat())) == {"band-D": True}


def test_a_landlord_asks_about_their_own_homes_only(agent, homes):
    theirs = make_home(agent.agency, ref="theirs", landlord_ref="L2", certificates=rated("D"))
    user = make_user(agent.agency, "landlord", landlord=theirs.landlord)
    response = signed_in(user).get(reverse("what_if"), {"assume": "band_c_2030", "begins": DAY.isoformat()})
    assert shown(response) == {"theirs": False}
    assert response.context["found"].asked == 1


@pytest.mark.parametrize(("most", "asked"), [(3, True), (2, False)])
def test_too_many_homes_are_told_with_the_command_that_asks_them(homes, ask, monkeypatch, most, asked):
    monkeypatch.setattr(what_if, "MOST_WORKED_OUT", most)
    response = ask(assume="band_c_2030", begins=DAY.isoformat())
    assert (response.context["found"] is not None) is asked
    assert ("--on 2026-11-25 --assume band_c_2030=2026-11-25" in response.content.decode()) is not asked


def test_the_number_of_queries_does_not_grow_with_the_homes(agent, homes, ask):
    def queries() -> int:
        with CaptureQueriesContext(connection) as caught:
            ask(assume="band_c_2030", begins=DAY.isoformat())
        return len(caught)

    queries()
    few = queries()
    for number in range(6):
        make_home(agent.agency, ref=f"more-{number}", landlord_ref=f"M{number}", certificates=rated("D"))
    assert queries() == few
