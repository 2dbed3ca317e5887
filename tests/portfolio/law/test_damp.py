"""What the cases of damp and emergencies cannot say: the hour, and what would be if announced law came in."""

from datetime import date

from portfolio.law.loader import load
from portfolio.law.model import DutyState
from portfolio.law.variants import assuming

from .homes import standing

TOLD = {"what": "aware", "of": "s", "on": "2026-11-06"}
GAS = [{"ref": "s", "scheme": "other", "code": "danger", "title": "Smell of gas", "found": "2026-11-06"}]


def test_an_emergency_is_due_at_the_hour_it_was_reported() -> None:
    events = [TOLD | {"at": "17:30"}]
    (one,) = standing(date(2026, 11, 7), landlord="registered_provider", defects=GAS, events=events).duties
    assert (one.id, one.due, one.by) == ("eng_awaab_social.make_safe", date(2026, 11, 7), "17:30")


def test_of_two_reports_of_one_day_the_earlier_hour_counts_and_no_hour_is_the_earliest() -> None:
    facts = {"landlord": "registered_provider", "defects": GAS}
    events = [TOLD | {"at": "17:30"}, TOLD | {"at": "08:15"}]
    assert [one.by for one in standing(date(2026, 11, 6), events=events, **facts).duties] == ["08:15"]
    (one,) = standing(date(2026, 11, 6), events=[*events, TOLD], **facts).duties
    assert (one.due, one.by) == (date(2026, 11, 6), None)


def test_days_for_private_lets_count_only_what_is_reported_once_they_are_law() -> None:
    book = assuming(load(), {"damp_days_private": date(2027, 5, 1)})
    events = [{"what": "aware", "on": "2027-04-29"}, {"what": "aware", "on": "2027-05-04"}]
    before = standing(date(2027, 4, 30), book, events=events)
    assert before.requirements == standing(date(2027, 4, 30), events=events).requirements
    (one,) = standing(date(2027, 5, 19), book, events=events).duties
    assert (one.id, one.due, one.state) == ("eng_awaab_social.investigate", date(2027, 5, 18), DutyState.LATE)


def test_a_home_past_the_bank_holidays_held_owes_without_a_day() -> None:
    """Nobody can say which days of 2046 are working days."""
    (one,) = standing(
        date(2046, 1, 30), building={"nation": "scotland"}, events=[{"what": "aware", "on": "2046-01-04"}]
    ).duties
    assert (one.due, one.state) == (None, DutyState.OPEN)
