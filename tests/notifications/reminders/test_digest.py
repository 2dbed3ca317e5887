"""The daily digest: to whom, when, about what and in which words; each thing said once."""

from copy import deepcopy
from datetime import date, timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from inspections.models import Defect
from notifications.models import Telling
from notifications.reminders.readers import addresses_of, readers_of
from portfolio.models import Due
from tests.factories import DAY, make_agency, make_landlord, make_user
from tests.notifications.reminders.digest_cases import a_town, digests, owe, run, send_all, sent, told

SUNDAY = date(2026, 11, 29)


@pytest.fixture(scope="module")
def stored(in_common):
    return a_town()


@pytest.fixture
def town(stored, db):
    Due.objects.all().delete()
    return deepcopy(stored)


def test_each_role_is_told_of_its_own(town):
    agency, homes, people = town
    owe(homes[0], 30), owe(homes[1], 7)
    assert run(agency) == 2
    agent, landlord = digests(to_user=people["agent"]), digests(to_user=people["landlord"])
    assert [one.key for one in agent] == [f"digest:{people['agent'].pk}:2026-11-25"]
    assert (
        agent[0].subject == "Renew: Electrical condition report (EICR) – Flat 2, 9 Tannery Row (and 1 more)"
    )
    assert landlord[0].subject == "Renew: Electrical condition report (EICR) – Flat 1, 9 Tannery Row"
    assert "Flat 2" not in landlord[0].text + landlord[0].html
    assert not digests(to_user=people["inspector"])


def test_the_first_line_says_what_to_do_and_the_last_ones_why(town):
    agency, homes, people = town
    owe(homes[1], 7), owe(homes[0], -2, duty=True)
    run(agency)
    text = digests(to_user=people["agent"])[0].text
    assert text.startswith(
        "Do first: Give the tenant a copy of the gas safety record, the last day was 23 November 2026.\n"
        "Flat 1, 9 Tannery Row\n"
        f"http://localhost:8000/homes/{homes[0].pk}/#duties\n"
    )
    assert "Renew: Electrical condition report (EICR), by 2 December 2026\n  Flat 2, 9 Tannery Row\n" in text
    assert text.index("PAPERS THAT RUN OUT") < text.index("DUTIES")
    assert text.rstrip().endswith("Sneck records; it does not inspect or certify.")
    assert "http://localhost:8000/telling/" in text


def test_nobody_is_promised_news_of_dangers_who_gets_none(town):
    agency, homes, people = town
    Defect.objects.create(
        unit=homes[1], ref="d-1", scheme="bs7671", code="C2", title="Socket", found=DAY, completed=DAY
    )
    run(agency)
    for who, promised in (("agent", True), ("inspector", False)):
        (message,) = digests(to_user=people[who])
        for said in (message.text, message.html):
            assert ("dangers still come" in said) is promised


@pytest.mark.parametrize(("hour", "written"), [(6, 0), (7, 1), (23, 1)])
def test_from_the_hour_on(town, hour, written):
    agency, homes, _ = town
    owe(homes[1], 7)
    assert run(agency, hour=hour) == written


def test_the_hour_is_that_of_london_in_summer_too(town):
    agency, homes, _ = town
    summer = date(2026, 7, 1)
    owe(homes[1], 7, day=summer)
    assert [run(agency, summer, hour) for hour in (5, 6)] == [0, 1]


def test_once_a_day_and_not_again_the_next(town):
    agency, homes, people = town
    owe(homes[1], 8)
    assert [run(agency), run(agency)] == [1, 0]
    send_all()
    tomorrow = DAY + timedelta(days=1)
    assert run(agency, tomorrow) == 1  # seven days left
    assert run(agency, tomorrow + timedelta(days=1)) == 0
    assert [milestone for _, milestone in sorted(told(people["agent"]))] == ["14", "7"]


def test_what_comes_up_after_the_digest_is_told_the_next_day(town):
    agency, homes, people = town
    owe(homes[1], 8)
    run(agency)
    owe(homes[0], 8, duty=True)
    assert run(agency) == 0
    assert run(agency, DAY + timedelta(days=1)) == 2
    assert len(told(people["agent"])) == 3


def test_a_week_without_a_run_is_one_message_of_what_is_still_true(town):
    agency, homes, people = town
    gone = owe(homes[1], 8)
    owe(homes[1], 9, of="e2"), owe(homes[0], 20)
    run(agency)
    send_all()
    gone.delete()
    assert run(agency, DAY + timedelta(days=8)) == 2
    (_, second) = digests(to_user=people["agent"])
    assert [one.milestone for one in second.said.order_by("milestone")] == ["1", "14"]
    assert second.text.count("Renew:") == 2 + 1  # and what to do first


def test_a_quiet_day_is_made_good_on_the_next(town):
    agency, homes, people = town
    Telling.objects.create(user=people["agent"], quiet_days=[5, 6])
    owe(homes[1], 1, day=SUNDAY)
    assert [run(agency, SUNDAY - timedelta(days=1)), run(agency, SUNDAY)] == [0, 0]
    assert run(agency, SUNDAY + timedelta(days=1)) == 1
    assert {milestone for _, milestone in told(people["agent"])} == {"0"}


def test_who_switched_the_digest_off_is_told_once_it_is_on_again(town):
    agency, homes, people = town
    telling = Telling.objects.create(user=people["agent"], digest=False)
    owe(homes[1], 8)
    assert run(agency) == 0
    assert told(people["agent"]) == set()
    Telling.objects.filter(pk=telling.pk).update(digest=True)
    assert run(agency) == 1


def test_a_kind_not_wanted_is_not_written_down_as_said(town):
    agency, homes, people = town
    Telling.objects.create(user=people["agent"], off=["duty"])
    owe(homes[1], 7), owe(homes[1], 7, duty=True)
    run(agency)
    assert "DUTIES" not in digests()[0].text
    assert {cause.partition(":")[0] for cause, _ in told(people["agent"])} == {"renewal"}


def test_nothing_new_is_no_message(town):
    agency, homes, people = town
    owe(homes[1], 91)
    assert run(agency) == 0
    assert Telling.objects.get(user=people["agent"]).worked_out_on == DAY


def test_what_was_said_before_is_counted_as_open(town):
    agency, homes, people = town
    owe(homes[1], -3), owe(homes[1], 40), owe(homes[1], -3, duty=True)
    run(agency)
    send_all()
    owe(homes[1], 6, of="e3")
    run(agency, DAY + timedelta(days=1))
    text = digests(to_user=people["agent"])[1].text
    assert "STILL OPEN, TOLD BEFORE" in text
    assert "Papers that run out: 2, 1 of them late\nDuties: 1, 1 of them late" in text


def test_a_long_list_is_cut_with_a_link_to_the_rest(town):
    agency, homes, _ = town
    for left in range(20):
        owe(homes[1], left), owe(homes[1], -1 - left, duty=True)
    run(agency)
    (message,) = digests()
    assert message.text.count("… and 5 more:") == 2
    assert message.subject.endswith("(and 39 more)")
    assert "http://localhost:8000/calendar/" in message.text
    assert "http://localhost:8000/duties/" in message.text
    assert message.said.count() == 40


def test_more_papers_run_out_than_fit_are_on_the_board(town):
    agency, homes, _ = town
    for left in range(20):
        owe(homes[1], -1 - left)
    run(agency)
    assert "http://localhost:8000/?answer=not-let" in digests()[0].text


def test_a_paper_of_a_building_is_one_line(town):
    agency, homes, people = town
    for home in homes:
        owe(home, 7, code="gb_fire_alarm_service", of="service")
    run(agency)
    (message,) = digests(to_user=people["agent"])
    assert message.said.count() == 2
    assert "Flat 1, 9 Tannery Row, and 1 more home there" in message.text
    assert message.subject == "Renew: Fire alarm service – Flat 1, 9 Tannery Row, and 1 more home there"


def test_readers_are_those_who_can_log_in_and_addresses_those_who_cannot(town):
    agency, homes, people = town
    homes[0].landlord.email = people["landlord"].email.upper()
    homes[0].landlord.save()
    alone = make_landlord(agency)
    alone.email = "own@example.org"
    alone.save()
    people["inspector"].is_active = False
    people["inspector"].save()
    make_user(make_agency())
    assert [one.user_id for one in readers_of(agency.pk)] == [people["agent"].pk, people["landlord"].pk]
    assert [(one.part, one.email, one.landlord_id) for one in addresses_of(agency.pk)] == [
        (f"landlord:{alone.pk}", "own@example.org", alone.pk)
    ]


def test_the_number_of_queries_does_not_grow_with_what_is_due(town):
    agency, homes, _ = town
    counted = []
    for number, day in ((1, DAY), (30, DAY + timedelta(days=1))):
        for left in range(number):
            (
                owe(homes[0], left, day=day, of=f"n{number}"),
                owe(homes[1], -left, duty=True, day=day, of=f"d{number}"),
            )
        with CaptureQueriesContext(connection) as queries:
            run(agency, day)
        sent(*digests(state="waiting"))
        counted.append([one["sql"] for one in queries])
    quarter_hours = CaptureQueriesContext(connection)
    with quarter_hours:
        run(agency, DAY + timedelta(days=1), 8)
    assert len(quarter_hours) == 2
    assert len(counted[1]) <= len(counted[0])
