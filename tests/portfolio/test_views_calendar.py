"""The calendar: each month's numbers, the list behind each, and that they are what the answers of those days are."""

from copy import deepcopy
from dataclasses import replace
from datetime import date, timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from portfolio import standing
from portfolio.law import model as law
from portfolio.models import Due, StoredStanding, Unit
from portfolio.selectors import reach
from portfolio.selectors.calendar import MONTHS, month_end, months_from
from portfolio.services.take_in import take_in
from tests.factories import (
    BUILDING,
    CLEAR_FLAT,
    DAY,
    at,
    make_agency,
    make_home,
    make_user,
    put_in_force,
    signed_in,
    without,
)

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("noon")]

LAST_GAS_DAY = date(2027, 5, 20)
MAY = date(2027, 5, 1)
"""The month of LAST_GAS_DAY, on which a clear flat is last clear to let."""
EARLY_GAS = law.Certificate(
    "g2", "gas_safety_record", "G-2", inspected=date(2026, 2, 1), appliances=(law.ApplianceCheck("boiler", "safe"),)
)  # fmt: skip

NI_GAS = replace(EARLY_GAS, ref="g3", inspected=date(2026, 5, 12))


@pytest.fixture(scope="module")
def common(in_common):
    """An agent, and homes of theirs: two clear until May, one until February, one barred."""
    agent = make_user(make_agency("Latchford Lettings"))
    early = (*without(CLEAR_FLAT, "g0", "g1").certificates, EARLY_GAS)
    return agent, [
        make_home(agent.agency, ref="may-1", label="Flat 1"),
        make_home(agent.agency, ref="may-2", label="Flat 2", landlord_ref="L2"),
        make_home(agent.agency, ref="feb", label="Flat 3", certificates=early),
        make_home(
            agent.agency, ref="barred", label="Flat 4", certificates=without(CLEAR_FLAT, "e1").certificates
        ),
    ]


@pytest.fixture
def agent(common):
    return deepcopy(common[0])


@pytest.fixture
def homes(common):
    return deepcopy(common[1])


@pytest.fixture
def see(agent):
    return lambda **asked: signed_in(agent).get(reverse("calendar"), asked)


@pytest.fixture
def see_month(agent):
    return lambda month, **asked: signed_in(agent).get(reverse("calendar_month", args=[month]), asked)


def month_of(response, first=MAY):
    return next(one for one in response.context["calendar"].months if one.first == first)


def shown(response) -> list[tuple[str, date]]:
    return [(line.home.ref, line.day) for line in response.context["lines"]]


def test_it_shows_the_month_of_the_day_and_the_24_after_it(homes, see):
    firsts = [one.first for one in see().context["calendar"].months]
    assert len(firsts) == MONTHS == 25
    assert (firsts[0], firsts[1], firsts[-1]) == (date(2026, 11, 1), date(2026, 12, 1), date(2028, 11, 1))
    assert list(months_from(date(2026, 12, 31)))[:2] == [date(2026, 12, 1), date(2027, 1, 1)]


@pytest.mark.parametrize(
    ("first", "last"),
    [(date(2028, 2, 1), date(2028, 2, 29)), (date(2026, 12, 1), date(2026, 12, 31))],
)
def test_a_month_ends_on_its_last_day(first, last):
    assert month_end(first) == last


@pytest.mark.parametrize("on", ["", "2027-03-05", "2026-11-01"])
def test_how_many_are_still_clear_is_what_the_answers_of_each_months_end_say(homes, see, on):
    found = see(on=on).context["calendar"]
    ids = [home.pk for home in homes]
    day = date.fromisoformat(on) if on else DAY
    asked = standing.on_day(ids, day).values()
    assert found.clear == {"let": sum(s.let.clear for s in asked), "sale": sum(s.sale.clear for s in asked)}
    assert found.homes == len(ids)
    for month in found.months[:9]:
        after = standing.on_day(ids, month_end(month.first) + timedelta(days=1)).values()
        assert month.still["let"] == sum(one.let.clear for one in after), month.first


def test_a_month_counts_what_lapses_by_requirement_and_who_stops(homes, see):
    may = month_of(see())
    assert may.stops == {"let": 2, "sale": 0}
    gas = [one for one in may.lapses if one.code == "gb_gas_check"]
    assert [(one.papers, one.title) for one in gas] == [(3, "Landlord's gas safety check")]
    assert month_of(see(), date(2027, 2, 1)).stops["let"] == 1
    assert sum(month.stops["let"] for month in see().context["calendar"].months) == 3


@pytest.mark.parametrize("what", ["lapses", "duties", "let", "sale"])
@pytest.mark.parametrize("stale", [False, True])
def test_each_number_is_the_length_of_its_list(homes, agent, see, see_month, what, stale):
    if stale:
        StoredStanding.objects.filter(unit=homes[0]).delete()
        Due.objects.filter(unit=homes[0]).delete()
    for month in see().context["calendar"].months:
        counted = {"lapses": month.papers, "duties": month.duties, **month.stops}[what]
        if counted or month.first == MAY:
            response = see_month(f"{month.first:%Y-%m}", what=what)
            assert response.context["page"].paginator.count == counted, month.first
            assert all(month.first <= day <= month_end(month.first) for _, day in shown(response))


def test_what_runs_out_in_two_nations_under_one_title_is_told_apart(agent, homes, see):
    belfry = replace(BUILDING, ref="belfry", nation="northern_ireland")
    over_there = replace(CLEAR_FLAT, ref="belfry-1", building="belfry", certificates=(NI_GAS,), events=())
    take_in(law.Portfolio((belfry,), (over_there,)), agency=agent.agency, actor=agent, moment=at())
    titles = {one.code: (one.title, one.papers) for one in month_of(see()).lapses}
    assert titles["gb_gas_check"] == ("Landlord's gas safety check (Great Britain)", 3)
    assert titles["ni_gas_check"] == ("Landlord's gas safety check (Northern Ireland)", 1)
    assert ">Landlord&#x27;s gas safety check (Northern Ireland): 1</a>" in see().content.decode()


def test_each_number_that_leads_on_says_to_what(homes, see):
    page = " ".join(see().content.decode().split())
    assert '>2<span class="vh"> homes with the last clear day to let in May 2027</span></a>' in page


def test_days_in_hand_that_run_out_name_the_paper_they_are_counted_to(agent, homes, see_month):
    put_in_force(agent.agency, {"gas_margin_days": 30}, actor=agent)
    lines = see_month("2027-04", kind="house_margin").context["lines"]
    assert {line.about for line in lines} == {"Gas safety record, 2 Apr 2026"}
    assert shown(see_month("2027-04", kind="house_margin")) == [
        (ref, LAST_GAS_DAY - timedelta(days=30)) for ref in ("may-1", "may-2", "barred")
    ]


def test_a_list_of_one_requirement_holds_that_alone(homes, see_month):
    response = see_month("2027-05", what="lapses", kind="gb_gas_check")
    assert {ref for ref, _ in shown(response)} == {"may-1", "may-2", "barred"}
    assert {line.says for line in response.context["lines"]} == {"Landlord's gas safety check"}
    assert shown(see_month("2027-05", what="lapses", kind="ew_epc")) == []


def test_a_list_of_homes_that_stop_says_what_bars_each_from_the_day_after(homes, see_month):
    response = see_month("2027-05", what="let")
    after = standing.on_day([homes[0].pk], LAST_GAS_DAY + timedelta(days=1))[homes[0].pk]
    assert shown(response) == [("may-1", LAST_GAS_DAY), ("may-2", LAST_GAS_DAY)]
    assert response.context["lines"][0].says == after.let.bars[0].says


@pytest.mark.parametrize(
    "day", [LAST_GAS_DAY - timedelta(days=1), LAST_GAS_DAY, LAST_GAS_DAY + timedelta(days=1)]
)
def test_what_lapsed_before_the_day_asked_about_is_not_ahead(homes, see, see_month, day):
    ahead = day <= LAST_GAS_DAY
    assert month_of(see(on=day.isoformat())).stops["let"] == (2 if ahead else 0)
    response = see_month("2027-05", what="let", on=day.isoformat())
    assert len(shown(response)) == (2 if ahead else 0)


@pytest.mark.parametrize("change", [{"law": "old"}, {"changes_on": DAY}, {"on": DAY + timedelta(days=1)}])
def test_what_is_stored_and_stale_is_worked_out_anew(homes, see, change):
    before = see().context["calendar"]
    StoredStanding.objects.update(let_until=date(2027, 9, 9), **change)
    Due.objects.all().update(due=date(2027, 9, 9))
    assert see().context["calendar"] == before


def test_a_fresh_answer_is_taken_as_stored(homes, see):
    StoredStanding.objects.filter(let_clear=True).update(let_until=date(2027, 9, 9))
    assert month_of(see(), date(2027, 9, 1)).stops["let"] == 3


def test_too_many_homes_to_ask_about_another_day_are_told(homes, see, see_month, monkeypatch):
    monkeypatch.setattr(reach, "MOST_WORKED_OUT", 0)
    response = see(on="2027-03-05")
    assert "reckoned from today" in response.content.decode()
    assert response.context["calendar"].clear["let"] == 2
    assert month_of(response).stops["let"] == 2
    assert "reckoned from today" in see_month("2027-05", what="let", on="2027-03-05").content.decode()
    assert "reckoned from today" not in see().content.decode()


def test_a_landlord_counts_their_own_homes_only(agent, homes):
    user = make_user(agent.agency, "landlord", landlord=homes[1].landlord)
    found = signed_in(user).get(reverse("calendar")).context["calendar"]
    assert (found.homes, found.clear["let"]) == (1, 1)
    assert next(one for one in found.months if one.first == MAY).stops["let"] == 1
    for what in ("lapses", "let"):
        response = signed_in(user).get(reverse("calendar_month", args=["2027-05"]), {"what": what})
        assert {ref for ref, _ in shown(response)} == {"may-2"}


@pytest.mark.parametrize(
    "month", ["2027-13", "2027-00", "2027-1", "9999-12", "0001-01", "never", "2026-10", "２０２７-05"]
)
def test_a_month_that_is_none_or_is_over_is_absent(homes, see_month, month):
    assert see_month(month).status_code == 404


def test_a_list_there_is_not_is_absent(homes, see_month):
    assert see_month("2027-05", what="everything").status_code == 404


@pytest.mark.parametrize("wrong", ["never", "2027-02-30", "0026-01-01"])
def test_a_wrong_day_is_told_and_the_calendar_is_from_today(homes, see, wrong):
    response = see(on=wrong)
    assert response.status_code == 200
    assert "not a day we can work with" in response.content.decode()
    assert response.context["day"] == DAY


@pytest.mark.parametrize("name", ["calendar", "month"])
def test_the_number_of_queries_does_not_grow_with_the_homes(agent, homes, see, see_month, name):
    def queries() -> int:
        with CaptureQueriesContext(connection) as caught:
            see() if name == "calendar" else see_month("2027-05", what="let")
        return len(caught)

    queries()
    few = queries()
    for number in range(6):
        make_home(agent.agency, ref=f"more-{number}", landlord_ref=f"M{number}")
    assert Unit.objects.count() == 10
    assert queries() == few


def test_a_list_is_narrowed_to_one_day(homes, see_month):
    assert len(shown(see_month("2027-05", only="2027-05-20"))) == 3
    assert shown(see_month("2027-05", only="2027-05-19")) == []
    page = see_month("2027-05", only="2027-05-20").content.decode()
    assert "Show the whole month" in page
    assert {see_month("2027-05", only=said).status_code for said in ("2027-06-01", "x", "2027-05-32")} == {
        404
    }


def test_a_list_of_one_day_counts_what_was_worked_out_too(homes, see_month):
    StoredStanding.objects.filter(unit=homes[0]).update(changes_on=DAY)
    Due.objects.filter(unit=homes[0]).delete()
    assert len(shown(see_month("2027-05", only="2027-05-20"))) == 3
