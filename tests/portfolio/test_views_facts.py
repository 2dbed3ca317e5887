"""Changing the facts of a home on its page, without scripts: what is sent back unchanged changes nothing."""

import re
from copy import deepcopy
from datetime import date
from html import unescape
from typing import Any
from uuid import UUID

import pytest
from django.urls import reverse

from inspections.services.visits import room_add, visit_begin
from portfolio import words
from portfolio.facts import facts_of
from portfolio.law import model as law
from portfolio.models import Alarm, Event
from tests.factories import CLEAR_FLAT, at, make_agency, make_home, make_user, without

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("noon")]

NO_GAS = without(CLEAR_FLAT, "g0", "g1").certificates


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


def unit_of(home) -> Any:
    return facts_of([home.pk])[home.pk][1]


_shown: dict[Any, dict[str, str]] = {}


def as_shown(as_agent, home) -> dict[str, str]:
    """What a browser would send back if nothing were touched; the page is read once for the same facts of a home."""
    key = (home.pk, home.agency_id, home.landlord_id, facts_of([home.pk])[home.pk])
    if key not in _shown:
        _shown[key] = _read(as_agent, home)
    return dict(_shown[key])


def _read(as_agent, home) -> dict[str, str]:
    html = as_agent.get(reverse("home_facts", args=[home.pk])).content.decode()
    data: dict[str, str] = {}
    for tag in re.findall(r"<input[^>]*>", html):
        got = dict(re.findall(r'([\w-]+)="([^"]*)"', tag))
        if got.get("type") in ("radio", "checkbox") and "checked" not in tag:
            continue
        if "name" in got:
            data[got["name"]] = unescape(got.get("value", ""))
    for name, body in re.findall(r'<select name="([^"]+)".*?>(.*?)</select>', html, re.S):
        data[name] = unescape("".join(re.findall(r'<option value="([^"]*)" selected', body)[:1]))
    for name, body in re.findall(r'<textarea name="([^"]+)"[^>]*>(.*?)</textarea>', html, re.S):
        data[name] = unescape(body).strip()
    return data


def save(as_agent, home, **changes):
    data = as_shown(as_agent, home) | {name.replace("__", "-"): value for name, value in changes.items()}
    return as_agent.post(reverse("home_facts", args=[home.pk]), data)


def test_sending_the_page_back_untouched_changes_nothing(as_agent, home):
    before, events = facts_of([home.pk]), Event.objects.count()
    response = save(as_agent, home)
    assert response["Location"] == reverse("home", args=[home.pk])
    assert facts_of([home.pk]) == before
    assert Event.objects.count() == events


def test_a_home_of_which_little_is_recorded_comes_back_untouched_too(as_agent, agent):
    home = make_home(
        agent.agency,
        rooms=None,
        appliances=(),
        certificates=NO_GAS,
        alarms=None,
        label=None,
        landlord=None,
        letting=law.Letting(),
    )
    before = facts_of([home.pk])
    save(as_agent, home)
    assert facts_of([home.pk]) == before


@pytest.mark.parametrize(("said", "kept"), [("yes", True), ("no", False), ("", None)])
def test_not_recorded_is_an_answer_of_its_own(as_agent, home, said, kept):
    save(as_agent, home, home__shares_amenities=said)
    assert unit_of(home).occupancy.shares_amenities is kept


def test_taking_a_fact_back_to_not_recorded_bars_the_home(as_agent, home):
    save(as_agent, home, alarms__s1__working="")
    home.standing.refresh_from_db()
    assert unit_of(home).alarms[0].working is None
    assert not home.standing.let_clear


def test_an_alarm_can_be_put_in_a_room_that_is_added_in_the_same_go(as_agent, home):
    names = " ".join(as_shown(as_agent, home))
    (room, *_), (alarm, *_) = (
        re.findall(r"rooms-(room-\d+)-use", names),
        re.findall(r"alarms-(alarm-\d+)-kind", names),
    )
    changes = {f"rooms__{room}__use": "landing", f"rooms__{room}__level": "1"}
    changes |= {f"alarms__{alarm}__kind": "smoke", f"alarms__{alarm}__room": room}
    save(as_agent, home, **changes)
    unit = unit_of(home)
    assert law.Room(room, 1, "landing") in unit.rooms
    assert [(one.kind, one.room) for one in unit.alarms if one.room == room] == [("smoke", room)]


def test_an_alarm_that_is_gone_no_longer_counts_and_is_not_destroyed(as_agent, home):
    save(as_agent, home, alarms__s1__removed="on")
    assert [alarm.ref for alarm in unit_of(home).alarms] == ["c1"]
    assert Alarm.objects.get(unit=home, ref="s1").removed == date(2026, 11, 25)
    home.standing.refresh_from_db()
    assert not home.standing.let_clear


def test_a_test_day_is_added_to_the_earlier_ones(as_agent, home):
    save(as_agent, home, alarms__s1__tested_on="2026-11-01")
    save(as_agent, home, alarms__s1__tested_on="2026-11-24")
    smoke = next(alarm for alarm in unit_of(home).alarms if alarm.ref == "s1")
    assert smoke.tested == (date(2026, 11, 1), date(2026, 11, 24))


@pytest.mark.parametrize("state", ["", "none"])
def test_a_list_with_things_in_it_is_neither_empty_nor_unknown(as_agent, home, state):
    response = save(as_agent, home, rooms__state=state)
    assert response.status_code == 200
    assert (
        "state"
        in next(form for form in response.context["faulty"] if getattr(form, "name", "") == "rooms").errors
    )
    assert unit_of(home).rooms == CLEAR_FLAT.rooms


def test_none_is_said_by_choosing_it(as_agent, agent):
    home = make_home(agent.agency, appliances=None, certificates=NO_GAS)
    save(as_agent, home, appliances__state="none")
    assert unit_of(home).appliances == ()


def test_listed_without_a_line_is_refused(as_agent, agent):
    home = make_home(agent.agency, appliances=None, certificates=NO_GAS)
    assert save(as_agent, home, appliances__state="listed").status_code == 200
    assert unit_of(home).appliances is None


@pytest.mark.parametrize(
    ("name", "value"),
    [("home__persons", "-1"), ("home__dwelling", "castle"), ("building__storeys", "many"), ("rooms__hall__level", "x"),
     ("building__nation", "atlantis"), ("alarms__s1__replace_by", "2026-02-30"), ("home__letting_term_years", "inf")],
)  # fmt: skip
def test_a_fault_changes_nothing_at_all(as_agent, home, name, value):
    before = facts_of([home.pk])
    response = save(as_agent, home, **{name: value, "home__label": "Other"})
    assert response.status_code == 200
    assert "Nothing is changed yet" in response.content.decode()
    assert facts_of([home.pk]) == before


def test_a_new_landlord_can_be_named(as_agent, home):
    save(as_agent, home, home__new_landlord="Marigold Pettifer")
    assert unit_of(home).landlord_ref == "Marigold Pettifer"


def test_the_building_changes_for_its_other_homes_too(as_agent, agent, home):
    neighbour = make_home(agent.agency)
    assert (
        "1 other home stands in this building"
        in as_agent.get(reverse("home_facts", args=[home.pk])).content.decode()
    )
    save(as_agent, home, building__nation="")
    neighbour.standing.refresh_from_db()
    assert not neighbour.standing.let_clear


def test_a_tenancy_is_added_and_ended(as_agent, home):
    as_agent.post(reverse("tenancy_add", args=[home.pk]), {"granted": "2026-11-20", "starts": "2026-12-01"})
    tenancy = home.tenancies.get()
    url = reverse("tenancy_end", args=[tenancy.pk])
    assert as_agent.post(url, {"ends": "2026-11-30"}).status_code == 200
    as_agent.post(url, {"ends": "2027-11-30"})
    assert unit_of(home).tenancies == (
        law.Tenancy(tenancy.ref, date(2026, 11, 20), date(2026, 12, 1), date(2027, 11, 30)),
    )


def test_marketing_is_added(as_agent, home):
    as_agent.post(reverse("marketing_add", args=[home.pk]), {"purpose": "sale", "starts": "2026-11-24"})
    assert unit_of(home).marketing == (law.Marketing("sale", date(2026, 11, 24)),)


@pytest.mark.parametrize(("on", "taken"), [("2026-11-24", True), ("2026-11-25", True), ("2026-11-26", False)])
def test_an_act_is_recorded_unless_its_day_is_yet_to_come(as_agent, home, on, taken):
    response = as_agent.post(
        reverse("act_add", args=[home.pk]), {"what": "copy_given", "of": "e1", "party": "tenant", "on": on}
    )
    assert response.status_code == (302 if taken else 200)
    assert (law.Act("copy_given", "e1", "tenant", date.fromisoformat(on)) in unit_of(home).events) is taken


def test_an_act_is_of_something_in_this_home(as_agent, home):
    data = {"what": "copy_given", "of": "elsewhere", "party": "tenant", "on": "2026-11-24"}
    assert as_agent.post(reverse("act_add", args=[home.pk]), data).status_code == 200


@pytest.mark.parametrize(
    ("typed", "kept"),
    [("17:30", "17:30"), ("9.05", "09:05"), ("00:00", "00:00"), ("23:59", "23:59"), ("", None)],
)
def test_an_act_keeps_the_time_of_day_where_one_is_given(as_agent, home, typed, kept):
    data = {"what": "aware", "of": "", "party": "tenant", "on": "2026-11-25", "at": typed}
    assert as_agent.post(reverse("act_add", args=[home.pk]), data).status_code == 302
    assert law.Act("aware", None, "tenant", date(2026, 11, 25), kept) in unit_of(home).events


@pytest.mark.parametrize("typed", ["24:00", "17:60", "5pm", "1730", "-1:00", "17:30:00", "٠٩:٣٠"])
def test_a_time_that_is_none_is_refused_with_its_cure(as_agent, home, typed):
    data = {"what": "aware", "on": "2026-11-25", "at": typed}
    response = as_agent.post(reverse("act_add", args=[home.pk]), data)
    assert response.status_code == 200
    assert "hours and minutes from 00:00 to 23:59" in response.content.decode()
    assert not any(act.what == "aware" for act in unit_of(home).events)


@pytest.mark.parametrize("what", words.ACT)
def test_every_act_can_be_recorded_under_what_it_is_about(as_agent, home, what):
    page = unescape(as_agent.get(reverse("act_add", args=[home.pk])).content.decode())
    (group,) = (said for said, codes in words.ACT_GROUPS.items() if what in codes)
    assert f'value="{what}"' in page.partition(f'<optgroup label="{group}">')[2].partition("</optgroup>")[0]
    as_agent.post(
        reverse("act_add", args=[home.pk]), {"what": what, "of": "", "party": "", "on": "2026-11-25"}
    )
    assert law.Act(what, None, None, date(2026, 11, 25)) in unit_of(home).events


def test_an_act_is_never_of_a_room(as_agent, home):
    form = as_agent.get(reverse("act_add", args=[home.pk])).context["form"]
    offered = {ref for ref, _ in form.fields["of"].choices}
    assert {"e1", "s1", "boiler"} <= offered
    assert "hall" not in offered


def test_how_people_leave_the_building_is_a_fact_of_it(as_agent, home):
    assert as_shown(as_agent, home)["building-simultaneous_evacuation"] == "no"
    save(as_agent, home, building__simultaneous_evacuation="yes")
    assert facts_of([home.pk])[home.pk][0].simultaneous_evacuation is True
    save(as_agent, home, building__simultaneous_evacuation="")
    assert facts_of([home.pk])[home.pk][0].simultaneous_evacuation is None


def test_an_open_duty_leads_to_the_act_that_closes_it(as_agent, agent):
    running = law.Tenancy("t1", date(2026, 10, 1), date(2026, 10, 10))
    home = make_home(agent.agency, tenancies=(running,), events=())
    page = as_agent.get(reverse("home", args=[home.pk])).content.decode()
    links = re.findall(rf'{reverse("act_add", args=[home.pk])}\?(what=copy_given[^"]+)"', page)
    assert links
    form = as_agent.get(f"{reverse('act_add', args=[home.pk])}?{unescape(links[0])}").context["form"]
    assert form["what"].value() == "copy_given"
    assert form["party"].value() == "tenant"
    as_agent.post(
        reverse("act_add", args=[home.pk]),
        {"what": "copy_given", "of": form["of"].value(), "party": "tenant", "on": "2026-11-25"},
    )
    after = as_agent.get(reverse("home", args=[home.pk])).content.decode()
    assert unescape(links[0]) not in unescape(after)


def test_a_page_opened_before_somebody_else_s_change_does_not_undo_it(as_agent, home):
    old = as_shown(as_agent, home)
    save(as_agent, home, alarms__s1__working="no")
    response = as_agent.post(reverse("home_facts", args=[home.pk]), old)
    assert "somebody else changed these facts" in response.content.decode()
    assert unit_of(home).alarms[0].working is False
    again = as_agent.post(
        reverse("home_facts", args=[home.pk]), old | {"seen": re.findall(SEEN, response.content.decode())[0]}
    )
    assert again.status_code == 200
    assert unit_of(home).alarms[0].working is False


SEEN = r'name="seen" value="([^"]*)"'


def test_two_who_add_a_room_at_once_do_not_make_one_of_the_two(as_agent, home):
    data = as_shown(as_agent, home)
    ref = next(found for name in data for found in re.findall(r"rooms-(room-\d+)-use", name))
    for use in ("store", "landing"):
        as_agent.post(reverse("home_facts", args=[home.pk]), data | {f"rooms-{ref}-use": use})
    assert [room.use for room in unit_of(home).rooms if room.ref == ref] == ["store"]


def test_a_danger_taken_away_asks_why_and_keeps_the_answer(as_agent, agent):
    failed = law.Certificate(
        "g1",
        "gas_safety_record",
        inspected=date(2026, 11, 2),
        appliances=(law.ApplianceCheck("boiler", "id"),),
    )
    home = make_home(agent.agency, certificates=(failed,))
    assert 'name="why"' not in as_agent.get(reverse("home_facts", args=[home.pk])).content.decode()
    asked = save(as_agent, home, appliances__boiler__owner="tenant").content.decode()
    assert "a danger would count no longer" in asked
    assert 'name="why"' in asked
    assert unit_of(home).appliances[0].owner == "landlord"
    done = save(as_agent, home, appliances__boiler__owner="tenant", why="It was the tenant's all along.")
    assert done.status_code == 302
    assert unit_of(home).appliances[0].owner == "tenant"
    assert "all along" in Event.objects.filter(unit=home).last().says


@pytest.fixture
def found(agent):
    """A home whose rooms nobody listed, with two that a visit found."""
    home = make_home(agent.agency, rooms=None, appliances=None, alarms=None, certificates=NO_GAS)
    visit = visit_begin(home.pk, key=UUID(int=0), actor=agent, moment=at())
    for number, use in enumerate(("hall", "bedroom"), start=1):
        room_add(visit.pk, key=UUID(int=number), use=use, level=0, actor=agent, moment=at())
    return home


def refs_of(home) -> dict[str, str]:
    return {room.use: room.ref for room in home.rooms.filter(removed=None)}


def test_rooms_that_a_visit_found_are_shown_and_left_alone(as_agent, found):
    page = as_agent.get(reverse("home_facts", args=[found.pk])).content.decode()
    assert "Nobody has said yet whether these are all." in page
    refs, before = refs_of(found), facts_of([found.pk])
    assert all(f"rooms-{ref}-use" in page for ref in refs.values())
    save(as_agent, found)
    assert (facts_of([found.pk]), refs_of(found)) == (before, refs)


def test_they_become_the_list_when_somebody_says_so(as_agent, found):
    refs = refs_of(found)
    save(as_agent, found, **{"rooms__state": "listed", f"rooms__{refs['bedroom']}__level": "1"})
    assert unit_of(found).rooms == (
        law.Room(refs["hall"], 0, "hall"), law.Room(refs["bedroom"], 1, "bedroom")
    )  # fmt: skip


def test_one_of_them_can_be_gone_and_one_added_meanwhile_stays(as_agent, found, agent):
    refs = refs_of(found)
    data = as_shown(as_agent, found) | {"rooms-state": "listed", f"rooms-{refs['hall']}-removed": "on"}
    late = room_add(found.visits.get().pk, key=UUID(int=3), use="store", actor=agent, moment=at())
    as_agent.post(reverse("home_facts", args=[found.pk]), data)
    assert [room.ref for room in unit_of(found).rooms] == [refs["bedroom"], late.ref]


@pytest.mark.parametrize("field", ["level", "removed"])
def test_a_change_to_them_asks_whether_they_are_all(as_agent, found, field):
    refs = refs_of(found)
    said = {"level": "3", "removed": "on"}[field]
    response = save(as_agent, found, **{f"rooms__{refs['hall']}__{field}": said})
    assert "What is listed below is changed" in response.content.decode()
    assert refs_of(found) == refs
    assert unit_of(found).rooms is None
