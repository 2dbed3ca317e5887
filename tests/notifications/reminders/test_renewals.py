"""What runs out and what is owed, as homes on record say it: found, named and put in words."""

from dataclasses import replace
from datetime import date

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from notifications.models import LeadTime
from notifications.reminders import renewals
from notifications.reminders.lead_times import leads_of
from portfolio import standing
from portfolio.law import model as law
from portfolio.models import Due
from tests.factories import (
    CLEAR_FLAT,
    DAY,
    at,
    make_agency,
    make_home,
    make_homes,
    make_landlord,
    make_user,
    put_in_force,
)
from tests.notifications.reminders.digest_cases import owe

pytestmark = pytest.mark.django_db
GAS_DUE = date(2027, 5, 20)


@pytest.fixture
def agency():
    return make_agency()


def found(agency, day):
    return renewals.found(agency.pk, day, leads_of(agency.pk))


def said(agency, day):
    return [line.says for line in renewals.lines(found(agency, day), day)]


@pytest.mark.parametrize(
    ("day", "says"),
    [
        (date(2027, 3, 20), None),
        (
            date(2027, 3, 21),
            "Book the gas check now: a check done from 21 Mar 2027 keeps the anniversary 20 May 2027",
        ),
        (
            GAS_DUE,
            "Book the gas check now: a check done from 21 Mar 2027 keeps the anniversary 20 May 2027",
        ),
        (date(2027, 5, 21), "Ran out: Gas safety record"),
    ],
)
def test_gas_is_to_be_booked_from_the_day_on_which_the_anniversary_is_kept(agency, day, says):
    make_home(agency)
    assert said(agency, day) == ([says] if says else [])


def test_before_those_two_months_the_day_on_which_they_begin_is_told(agency):
    make_home(agency)
    LeadTime.objects.create(agency=agency, kind="gas_safety_record", days=[90])
    (says,) = said(agency, date(2027, 2, 19))
    assert says == "Renew: Gas safety record; a check done from 21 Mar 2027 keeps the anniversary 20 May 2027"


def test_in_northern_ireland_no_anniversary_is_kept(agency):
    owe(make_home(agency), 30, code="ni_gas_check", of="g1")
    assert "Renew: Gas safety record" in said(agency, DAY)


def test_what_ran_out_stays_until_it_is_renewed(agency):
    """The stored days are those of the answer that followed the lapse, too."""
    home = make_home(agency)
    after = date(2027, 5, 21)
    (before,) = found(agency, after)
    standing.catch_up(at(after))
    (lapsed,) = found(agency, after)
    assert lapsed == before
    assert (lapsed.milestone, lapsed.due) == ("lapsed", GAS_DUE)
    assert lapsed.cause == f"renewal:{home.pk}:gb_gas_check:g1:2027-05-20"
    assert found(agency, date(2029, 1, 1))[0].cause


def test_a_paper_in_doubt_is_counted_down_all_the_same(agency):
    papers = tuple(
        replace(one, outcome=None, next_within_years=3.75) if one.kind == "eicr" else one
        for one in CLEAR_FLAT.certificates or ()
    )
    make_home(agency, certificates=papers)
    assert said(agency, DAY) == ["Renew: Electrical condition report (EICR)"]


def test_what_is_no_longer_asked_is_no_longer_told(agency):
    home = make_home(agency)
    assert found(agency, GAS_DUE)
    home.letting_kind, home.letting_term_years = "long_lease", 99
    home.save()
    home.appliances.update(removed=DAY)
    standing.refresh([home.pk], moment=at())
    assert found(agency, GAS_DUE) == []


def test_another_paper_is_another_cause(agency):
    home = make_home(agency)
    owe(home, 30, of="e1"), owe(home, 30, of="e2"), owe(home, 31, of="e2")
    assert len({one.cause for one in found(agency, DAY)}) == 3


def test_a_cause_fits_whatever_the_refs(agency):
    owe(make_home(agency), 3, code="x" * 80, of="y" * 100, duty=True)
    (one,) = found(agency, DAY)
    assert len(one.cause) <= 200
    assert renewals.still_true([one.cause]) == {one.cause}
    Due.objects.filter(is_duty=True).delete()
    assert renewals.still_true([one.cause, "job:1:2"]) == set()


def test_duties_in_words_with_and_without_a_day(agency):
    home = make_home(agency)
    owe(home, -1, duty=True), owe(home, None, duty=True, of="e1"), owe(home, 8, duty=True, of="g2")
    concerns = found(agency, DAY)
    assert sorted(one.milestone for one in concerns) == ["+1", "owed"]
    lines = {line.says: line for line in renewals.lines(concerns, DAY)}
    title = "Give the tenant a copy of the gas safety record"
    assert set(lines) == {title, f"{title}; by when is not known"}
    assert lines[title].late
    assert lines[title].url == f"http://localhost:8000/homes/{home.pk}/#duties"
    assert lines[title].home == "Flat 2, 9 Tannery Row"


def test_the_house_policy_is_named_where_it_is_that_which_asks(agency):
    agent = make_user(agency)
    make_home(agency)
    put_in_force(agency, {"gas_margin_days": 60}, actor=agent)
    assert "Renew early, as the house policy asks: Gas safety record" in said(agency, date(2027, 3, 21))
    assert "Not renewed as early as the house policy asks: Gas safety record" in said(
        agency, date(2027, 3, 22)
    )


def test_a_paper_of_a_building_is_one_group_and_others_are_not(agency):
    homes = make_homes(agency, {}, {})
    for home in homes:
        owe(home, 3, code="gb_fire_alarm_service", of="a"), owe(home, 3, of="e1")
    groups = [one.group for one in found(agency, DAY) if one.code == "gb_fire_alarm_service"]
    assert len(groups) == 2
    assert len(set(groups)) == 1
    assert {one.group for one in found(agency, DAY) if one.code == "eng_eicr"} == {""}


def test_each_agency_and_landlord_has_its_own(agency):
    mine, theirs = make_home(agency), make_home(make_agency())
    mine.landlord = make_landlord(agency)
    mine.save()
    owe(mine, 3), owe(theirs, 3)
    (one,) = found(agency, DAY)
    assert (one.unit_id, one.landlord_id) == (mine.pk, mine.landlord_id)


def test_an_alarm_is_tested_not_renewed(agency):
    home = make_home(agency)
    (
        owe(home, 14, code="house_alarm_test"),
        owe(home, 15, code="house_alarm_test"),
        owe(home, -1, code="house_alarm_test"),
    )
    assert sorted(said(agency, DAY)) == ["Test the alarms", "The alarms were not tested in time"]


def test_the_number_of_queries_does_not_grow(agency):
    few, many = make_homes(agency, {}), make_homes(agency, {}, {}, {})
    counted = []
    for homes in (few, many):
        for home in homes:
            owe(home, 3), owe(home, -3, duty=True)
        with CaptureQueriesContext(
            connection,
        ) as queries:
            renewals.lines(found(agency, DAY), DAY)
        counted.append(len(queries))
    assert counted[0] == counted[1] <= 5


def test_the_law_names_what_no_paper_is_on_record_for(agency):
    boiler = law.Appliance("boiler", "gas_boiler", "kitchen", "landlord", date(2019, 6, 3))
    papers = tuple(one for one in CLEAR_FLAT.certificates or () if one.kind != "gas_safety_record")
    make_home(agency, certificates=papers, appliances=(boiler,))
    (one,) = found(agency, DAY)
    assert (one.of, one.due) == ("", date(2020, 6, 3))
    assert said(agency, DAY) == ["Still to be had: Landlord's gas safety check"]
