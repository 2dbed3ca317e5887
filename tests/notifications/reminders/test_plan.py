"""Milestones: pure, so tried on every day around each of them."""

from datetime import date, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from notifications.reminders.lead_times import defaults, kind_of, late_days
from notifications.reminders.plan import Concern, countdown, owed, reached_on, since

DUE = date(2027, 1, 31)
DAYS = (90, 60, 30, 14, 7, 1, 0)


def on(days_before: int) -> date:
    return DUE - timedelta(days=days_before)


@pytest.mark.parametrize(
    ("left", "milestone"),
    [
        (91, ""), (90, "90"), (89, "90"), (61, "90"), (60, "60"), (31, "60"), (30, "30"), (15, "30"), (14, "14"),
        (8, "14"), (7, "7"), (2, "7"), (1, "1"), (0, "0"), (-1, "lapsed"), (-400, "lapsed"),
    ],
)  # fmt: skip
def test_the_last_milestone_reached_counts(left, milestone):
    assert countdown(DUE, on(left), DAYS) == milestone


def test_without_lead_times_only_the_end_is_a_milestone():
    assert [countdown(DUE, on(left), ()) for left in (1, 0, -1)] == ["", "", "lapsed"]


@pytest.mark.parametrize(
    ("left", "milestone"),
    [
        (8, ""),
        (7, "7"),
        (3, "3"),
        (1, "1"),
        (0, "0"),
        (-1, "+1"),
        (-6, "+1"),
        (-7, "+7"),
        (-28, "+28"),
        (-900, "+28"),
    ],
)
def test_a_duty_is_counted_on_while_it_is_late(left, milestone):
    assert owed(DUE, on(left), defaults()["duty"], late_days()) == milestone


def test_a_duty_of_no_day_is_owed_from_the_first():
    assert owed(None, DUE, (7,), (1,)) == "owed"


def test_what_waits_is_told_at_its_steps():
    assert [since(DUE, on(-days), (2, 5)) for days in (1, 2, 4, 5, 90)] == ["", "+2", "+2", "+5", "+5"]


@given(
    st.dates(date(2020, 1, 1), date(2040, 1, 1)),
    st.integers(-500, 500),
    st.sets(st.integers(0, 400), max_size=9),
)
def test_whatever_the_lead_times_milestones_only_move_on(due, left, days):
    """From a day to the next one the milestone stays or is a later one, and it never was reached before its day."""
    order = ["", *(str(one) for one in sorted(days, reverse=True)), "lapsed"]
    day = due - timedelta(days=left)
    now, then = countdown(due, day, tuple(days)), countdown(due, day + timedelta(days=1), tuple(days))
    assert order.index(now) <= order.index(then)
    reached = reached_on(Concern("c", "renewal", now, 1, None, due))
    assert (reached is None) == (now in ("", "lapsed"))
    if reached is not None:
        assert reached <= day
        assert countdown(due, reached, tuple(days)) == now
        assert countdown(due, reached - timedelta(days=1), tuple(days)) != now


def test_every_kind_has_lead_times_and_ends_on_the_day_itself():
    assert all(days == tuple(sorted(days, reverse=True)) and days[-1] == 0 for days in defaults().values())
    assert defaults()["gas_safety_record"][0] == 60
    assert defaults()["hmo_licence"][0] == defaults()["selective_licence"][0] == 120
    assert defaults()["eicr"][0] == 90
    assert {defaults()[kind_of(code)][0] for code in ("gb_emergency_lighting", "eng_fire_doors_11m")} == {14}
