"""Jobs nobody answered, repairs to confirm and repairs still wanted: on the day before, the day and the day after."""

from copy import deepcopy
from datetime import UTC, date, datetime, timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from inspections.models import Defect
from inspections.services.defects import defect_claim_done, defect_made_safe
from inspections.services.job_answers import job_answer, job_propose_day
from inspections.services.jobs import job_link_new, job_take_back
from notifications.reminders import works
from notifications.reminders.lead_times import defaults
from portfolio.clock import moment_of
from portfolio.models import Building, Unit
from tests.factories import DAY, at, make_agency, make_homes, make_landlord, make_user
from tests.inspections.job_cases import FOUND, make_firm, send

pytestmark = pytest.mark.django_db


@pytest.fixture(scope="module")
def stored(in_common):
    agency = make_agency()
    homes = make_homes(
        agency,
        {"label": "Flat 2", "landlord_ref": make_landlord(agency).ref},
        {"label": "Flat 3", "landlord_ref": None},
    )
    return agency, make_user(agency), homes


@pytest.fixture
def agency(stored):
    return deepcopy(stored[0])


@pytest.fixture
def agent(stored):
    return deepcopy(stored[1])


@pytest.fixture
def home(stored):
    """Home of a landlord; the other one has none."""
    return deepcopy(stored[2][0])


@pytest.fixture
def other(stored):
    return deepcopy(stored[2][1])


def defect_of(home, code="C2", scheme="bs7671", **more):
    """A defect the law was not asked about, so that it sets no day for it: 14 days are ours for what is urgent."""
    ref = f"d{home.defects.count()}"
    return Defect.objects.create(
        unit=home, ref=ref, scheme=scheme, code=code, title="Fault", found=FOUND, **more
    )


def said(agency, day, kind):
    """Cause and milestone of each concern of this kind, and the lines of them."""
    concerns = [one for one in works.found(agency.pk, day, defaults()) if one.kind == kind]
    assert works.still_true(one.cause for one in concerns) == {one.cause for one in concerns}
    return [(one.cause, one.milestone) for one in concerns], works.lines(concerns, day)


def milestones(agency, days, kind):
    return [next((milestone for _, milestone in said(agency, day, kind)[0]), "") for day in days]


# Jobs


def days(*numbers: int, month: int = 12, year: int = 2026) -> list[date]:
    return [date(year, month, number) for number in numbers]


def test_a_job_is_told_on_the_second_working_day_and_then_ever_less_often(agency, agent, home):
    send(make_firm(agency), [defect_of(home)], agent)  # on Wednesday the 25th
    asked = [date(2026, 11, 26), date(2026, 11, 27), date(2026, 11, 28), *days(1, 2, 3, 8, 9, 16, 23, 30)]
    asked += [date(2027, 3, 1)]
    expected = ["", "+0", "+0", "+2", "+5", "+5", "+5", "+12", "+19", "+26", "+33", "+33"]
    assert milestones(agency, asked, works.UNANSWERED) == expected


@pytest.mark.parametrize(
    ("nations", "first"),
    [
        (("england",), date(2026, 12, 30)),  # off: Friday 25 December, Monday 28 December
        (("scotland",), date(2026, 12, 30)),
        ((None,), date(2026, 12, 28)),
        (("england", None), date(2026, 12, 28)),
    ],
)
def test_bank_holidays_of_the_homes_are_no_working_days(agency, agent, home, other, nations, first):
    defects = [defect_of(home), defect_of(other)]
    for nation, defect in zip(nations, defects, strict=False):
        building = Building.objects.create(agency=agency, ref=f"b-{nation}", nation=nation)
        Unit.objects.filter(pk=defect.unit_id).update(building=building)
    send(make_firm(agency), defects[: len(nations)], agent, moment=at(date(2026, 12, 24)))
    assert milestones(agency, [first - timedelta(days=1), first], works.UNANSWERED) == ["", "+0"]


def test_new_year_is_longer_in_scotland(agency, agent, home):
    defects = [defect_of(home)]
    Building.objects.update(nation="scotland")
    send(make_firm(agency), defects, agent, moment=at(date(2026, 12, 31)))  # Thursday
    # Off: Friday 1 January, Monday 4 January for the 2nd, a Saturday.
    assert milestones(agency, days(5, 6, month=1, year=2027), works.UNANSWERED) == ["", "+0"]


def test_a_job_sent_just_after_midnight_in_london_is_of_that_day(agency, agent, home):
    late = moment_of(datetime(2026, 6, 30, 23, 30, tzinfo=UTC))  # half past midnight on Wednesday 1 July
    send(make_firm(agency, gas=date(2027, 1, 1), electrical=date(2027, 1, 1)), [defect_of(home)], agent,
         moment=late)  # fmt: skip
    assert milestones(agency, days(2, 3, month=7), works.UNANSWERED) == ["", "+0"]


ENDS = {
    "accepted": lambda job, agent: job_answer(job.pk, answer="accepted", moment=at()),
    "declined": lambda job, agent: job_answer(job.pk, answer="declined", why="Too far.", moment=at()),
    "a day proposed": lambda job, agent: job_propose_day(job.pk, day=date(2026, 12, 1), moment=at()),
    "taken back": lambda job, agent: job_take_back(job.pk, why="Sold.", actor=agent, moment=at()),
    "part said to be done": lambda job, agent: defect_claim_done(
        job.items.first().defect_id, on=DAY, actor=agent, moment=at()
    ),
}


@pytest.mark.parametrize("way", ENDS)
def test_nothing_is_said_of_a_job_once_something_came_of_it(agency, agent, home, way):
    job, _ = send(make_firm(agency), [defect_of(home), defect_of(home, "FI")], agent)
    (cause,) = {cause for cause, _ in said(agency, date(2026, 12, 9), works.UNANSWERED)[0]}
    ENDS[way](job, agent)
    assert said(agency, date(2026, 12, 9), works.UNANSWERED) == ([], [])
    assert works.still_true([cause, "renewal:1:x::2026-12-01"]) == set()


def test_a_new_link_is_a_new_cause_and_waits_anew(agency, agent, home):
    job, _ = send(make_firm(agency), [defect_of(home)], agent)
    before, _ = said(agency, date(2026, 12, 3), works.UNANSWERED)
    job_link_new(job.pk, actor=agent, moment=at(date(2026, 12, 2)))
    assert milestones(agency, days(3, 4), works.UNANSWERED) == ["", "+0"]
    after, _ = said(agency, date(2026, 12, 4), works.UNANSWERED)
    assert before[0][0] != after[0][0]
    assert works.still_true([before[0][0]]) == set()


def test_the_line_of_a_job_says_whom_to_ask(agency, agent, home, other):
    two = [defect_of(home), defect_of(other)]
    job, _ = send(make_firm(agency), two, agent)
    (line,) = said(agency, date(2026, 11, 27), works.UNANSWERED)[1]
    assert line.says == "Ask Wire & Co (01632 960555) about Job 1: sent 25 November, not even read"
    assert line.home == "Flat 2, 9 Tannery Row and 1 more"
    assert line.url.endswith(f"/jobs/{job.pk}/")


# Proof to confirm


def claimed(agency, agent, on=DAY, **more):
    defect = defect_of(agency.units.get(label="Flat 2"))
    return defect_claim_done(defect.pk, on=on, actor=agent, moment=at(on), **more)


def test_proof_is_told_on_its_day_and_after_3_7_and_14(agency, agent):
    claimed(agency, agent)
    asked = [DAY + timedelta(days=n) for n in (-1, 0, 1, 3, 6, 7, 8, 14, 60)]
    assert milestones(agency, asked, works.CONFIRM) == ["", "+0", "+0", "+3", "+3", "+7", "+7", "+14", "+14"]


def test_the_line_says_who_may_not_confirm(agency, agent):
    hand, _ = make_user(agency, "inspector", name="Ivy Hand"), make_user(agency, "inspector")
    defect = claimed(agency, hand, contractor=make_firm(agency))
    (line,) = said(agency, DAY, works.CONFIRM)[1]
    assert line.says == (
        "Look at it and confirm: Fault, said to be done by Wire & Co on 25 November (not Ivy Hand, who had a hand "
        "in it)"
    )
    assert line.url.endswith(f"/defects/{defect.pk}/")


def test_nothing_waits_once_it_is_confirmed(agency, agent):
    defect = claimed(agency, agent)
    (cause, _), = said(agency, DAY, works.CONFIRM)[0]  # fmt: skip
    Defect.objects.filter(pk=defect.pk).update(confirmed=DAY)
    assert said(agency, DAY, works.CONFIRM) == ([], [])
    assert works.still_true([cause]) == set()


# Proof needed


def test_a_landlord_is_told_before_and_after_the_last_day_of_a_repair(agency, home):
    defect = defect_of(home)
    due = FOUND + timedelta(days=14)
    asked = [due + timedelta(days=n) for n in (-15, -14, -8, -7, -1, 0, 1, 6, 7, 27, 28, 200)]
    expected = ["", "14", "14", "7", "1", "0", "+1", "+1", "+7", "+7", "+28", "+28"]
    assert milestones(agency, asked, works.NEEDED) == expected
    assert said(agency, due, works.NEEDED)[0] == [(f"repair:{defect.pk}:{due}", "0")]


def test_advice_and_notes_are_not_pressed_for_nor_homes_of_no_landlord(agency, home, other):
    defect_of(home, "C3")
    defect_of(home, "note", "other")
    defect_of(other)
    assert said(agency, date(2028, 1, 1), works.NEEDED) == ([], [])


def test_a_danger_is_told_daily_and_here_only_once_it_is_made_safe(agency, agent, home):
    defect = defect_of(home, "C1")
    assert said(agency, DAY, works.NEEDED) == ([], [])
    defect_made_safe(defect.pk, on=DAY, how="Switched off.", actor=agent, moment=at())
    assert [milestone for _, milestone in said(agency, DAY, works.NEEDED)[0]] == ["+1"]


def test_what_is_said_to_be_done_is_not_asked_for(agency, agent, home):
    defect = defect_of(home)
    (cause, _), = said(agency, DAY, works.NEEDED)[0]  # fmt: skip
    defect_claim_done(defect.pk, on=DAY, actor=agent, moment=at())
    assert said(agency, DAY, works.NEEDED) == ([], [])
    assert works.still_true([cause]) == set()


def test_the_line_says_what_is_wanted_and_who_has_it(agency, agent, home):
    defect = defect_of(home)
    (line,) = said(agency, date(2026, 12, 20), works.NEEDED)[1]
    assert (line.says, line.late, line.due) == (
        "Have it put right and add proof: Fault",
        True,
        date(2026, 12, 4),
    )
    send(make_firm(agency), [defect], agent)
    (line,) = said(agency, date(2026, 12, 4), works.NEEDED)[1]
    assert (line.says, line.late) == ("Have it put right and add proof: Fault, with Wire & Co", False)


def test_another_agency_is_none_of_it(agency, agent, home):
    defect_of(home)
    claimed(agency, agent)
    send(make_firm(agency), [defect_of(home)], agent)
    assert {one.kind for one in works.found(agency.pk, DAY + timedelta(days=7), defaults())} == {
        works.UNANSWERED, works.CONFIRM, works.NEEDED,
    }  # fmt: skip
    assert works.found(make_agency().pk, DAY + timedelta(days=7), defaults()) == []


def test_as_many_queries_however_much_work_there_is(agency, agent, home):
    def queries() -> int:
        day = DAY + timedelta(days=8)
        with CaptureQueriesContext(
            connection,
        ) as caught:
            concerns = works.found(agency.pk, day, defaults())
            works.lines(concerns, day)
            works.still_true(one.cause for one in concerns)
        assert {one.kind for one in concerns} == {works.UNANSWERED, works.CONFIRM, works.NEEDED}
        return len(caught)

    def more(number: int) -> None:
        defects = [defect_of(home) for _ in range(number * 3)]
        Defect.objects.filter(pk__in=[one.pk for one in defects[::3]]).update(
            completed=DAY, completed_by=agent
        )
        firm = make_firm(agency, f"Firm {number}")
        for one in defects[1::3]:
            send(firm, [one], agent)

    more(1)
    few = queries()
    more(4)
    assert queries() == few <= 22
