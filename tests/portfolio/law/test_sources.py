"""What an answer cites is the law that set the day or the verdict, not whatever the pack holds last."""

from dataclasses import replace
from datetime import date, timedelta
from typing import Any

import pytest

from portfolio.law.lawbook import Dated, Lawbook, Topic
from portfolio.law.loader import load
from portfolio.law.model import NATIONS, Basis, Duty, Reason, Standing
from portfolio.law.variants import rebuilt

from .nations import standing_in

DAY = timedelta(days=1)
CHANGE = date(2026, 12, 1)


def changed_from(topic: Topic, start: date, **values: Any) -> Topic:
    """The topic with new values from a day on, said to rest on an amendment."""
    found = dict(topic.values)
    for name, value in values.items():
        *before, last = topic.values[name]
        later = Dated(start, None, value, f"amended {name}", Basis.TEXT)
        found[name] = (*before, replace(last, end=start - DAY), later)
    return replace(topic, values=found)


def book_with(*topics: Topic) -> Lawbook:
    return rebuilt(load(), {topic.id: topic for topic in topics}, ("changed", "for this test"))


def duty_of(standing: Standing, name: str) -> Duty:
    (found,) = [one for one in standing.duties if one.id == name]
    return found


def reason_of(standing: Standing, requirement: str, kind: str) -> Reason:
    answers = (standing.let, standing.sale)
    found = {one for a in answers for one in (*a.bars, *a.warnings) if one.requirement == requirement}
    (one,) = [one for one in found if one.kind == kind and not one.says.startswith("While")]
    return one


@pytest.mark.parametrize(
    ("moved_in", "due", "source"),
    [
        ("2023-11-30", date(2023, 12, 6), "WSI 2022/6, reg 6(3)-(5) as made"),
        (
            "2023-12-01",
            date(2023, 12, 14),
            "WSI 2022/6, reg 6(3) as revised; the day it changed was not found",
        ),
        (
            "2023-12-02",
            date(2023, 12, 15),
            "WSI 2022/6, reg 6(3) as revised; the day it changed was not found",
        ),
    ],
)
def test_a_welsh_contract_is_told_the_law_of_its_first_day(moved_in, due, source):
    tenancy = {"ref": "t", "starts": moved_in, "granted": moved_in}
    papers = [{"ref": "e", "kind": "eicr", "inspected": "2023-01-09", "outcome": "satisfactory"}]
    said = standing_in("wales", tenancies=[tenancy], papers=papers)
    owed = duty_of(said, "wal_eicr.copy_to_tenant")
    assert (owed.due, owed.source) == (due, source)
    assert any(one.kind == "late" and one.source == source for one in said.let.warnings)


@pytest.mark.parametrize(
    ("received", "days", "source"),
    [
        ("2023-03-31", 14, "Tenancy Deposit Schemes Regulations (NI) 2012"),
        ("2023-04-01", 28, "Private Tenancies Act (NI) 2022, s.5"),
        ("2023-04-02", 28, "Private Tenancies Act (NI) 2022, s.5"),
    ],
)
def test_a_deposit_is_told_the_law_of_the_day_it_was_received(received, days, source):
    tenancy = {"ref": "t", "starts": "2023-04-03", "granted": "2023-03-30"}
    acts = [{"what": "deposit_received", "of": "t", "on": received}]
    owed = duty_of(standing_in("northern_ireland", tenancies=[tenancy], events=acts), "ni_deposit.protect")
    assert (owed.due, owed.source) == (date.fromisoformat(received) + days * DAY, source)


@pytest.mark.parametrize(
    ("on", "due", "source"),
    [
        (CHANGE - DAY, date(2026, 12, 16), "SI 2020/312, reg 3(3)"),
        (CHANGE, date(2026, 12, 2), "amended copy_days"),
        (CHANGE + DAY, date(2026, 12, 2), "amended copy_days"),
    ],
)
def test_a_duty_whose_days_go_by_the_day_asked_is_told_the_law_of_that_day(on, due, source):
    book = book_with(changed_from(load().topics["eng_eicr"], CHANGE, copy_days=14))
    papers = [{"ref": "e", "kind": "eicr", "inspected": "2026-11-18", "outcome": "satisfactory"}]
    tenancy = {"ref": "t", "starts": "2025-02-01", "granted": "2025-02-01"}
    said = standing_in("england", on, book, tenancies=[tenancy], papers=papers)
    owed = duty_of(said, "eng_eicr.copy_to_tenant")
    assert owed.due == due
    assert owed.source.startswith(source)
    assert said.changes_on == (CHANGE if on < CHANGE else date(2026, 12, 3))


@pytest.mark.parametrize(
    ("registered", "since", "source"),
    [
        ("2016-10-03", date(2026, 10, 4), "SSI 2008/309, validity"),
        ("2018-05-02", date(2027, 11, 1), None),
        ("2026-10-30", date(2027, 11, 1), None),
        ("2026-10-31", date(2031, 11, 1), "SSI 2025/417, validity"),
    ],
)
def test_a_scottish_energy_certificate_ends_by_the_law_it_was_made_under(registered, since, source):
    """One of the old kind that would have run on is ended by the last day for that kind."""
    papers = [{"ref": "p", "kind": "epc", "registered": registered, "rating": "C"}]
    lapsed = reason_of(standing_in("scotland", since, papers=papers), "sco_epc", "lapsed")
    (old_kind,) = load().topics["sco_epc"].values["old_style_until"]
    assert (lapsed.since, lapsed.source) == (since, source or old_kind.source)


# --- everywhere -------------------------------------------------------------------------------------

AMENDED = "amended "
LET = {"ref": "t", "starts": "2024-02-01", "granted": "2024-02-01"}
WORN: dict[str, Any] = {
    "tenancies": [LET],
    "marketing": [{"for": "sale", "from": "2026-09-01"}, {"for": "let", "from": "2026-09-01"}],
    "main_board_rcd_30ma": False,
    "building": {"passenger_lift": True, "lift_used_at_work": True},
    "events": [
        {"what": "request_received", "of": "e", "party": "prospect", "on": "2026-05-01"},
        {"what": "deposit_received", "of": "t", "on": "2024-02-01"},
        {"what": "notice_served", "of": "s0", "party": "council", "on": "2026-05-01"},
    ],
    "certificates": [
        {"ref": "e", "kind": "eicr", "inspected": "2019-03-01", "outcome": "unsatisfactory"},
        {
            "ref": "g", "kind": "gas_safety_record", "inspected": "2024-06-02",
            "appliances": [{"appliance": "boiler", "result": "safe"}],
        },
        {"ref": "p", "kind": "epc", "registered": "2014-09-10", "rating": "F"},
        {"ref": "a", "kind": "pat", "inspected": "2019-03-01", "outcome": "unsatisfactory"},
        {"ref": "hr", "kind": "home_report", "inspected": "2026-01-02"},
        {"ref": "f", "kind": "fire_risk_assessment", "inspected": "2020-03-09", "until": "2021-03-08"},
        {"ref": "as", "kind": "asbestos_register", "inspected": "2020-03-09"},
        {"ref": "el", "kind": "emergency_lighting_test", "inspected": "2020-09-07"},
        {"ref": "fa", "kind": "fire_alarm_service", "inspected": "2020-09-07"},
        {"ref": "w", "kind": "legionella_assessment", "inspected": "2020-03-09"},
        {"ref": "l", "kind": "lift_examination", "inspected": "2020-03-09"},
    ],
}  # fmt: skip
"""A home with everything out of date, let and on the market."""


@pytest.fixture(scope="module")
def amended() -> Lawbook:
    """The law with every value of every topic enacted again, in the same words, from `CHANGE` on."""
    topics = load().topics.values()
    return book_with(
        *(
            changed_from(one, CHANGE, **{name: v[-1].value for name, v in one.values.items()})
            for one in topics
        )
    )


def cited(standing: Standing) -> dict[str, set[str]]:
    """Every source said, by the id of what says it."""
    said: dict[str, set[str]] = {}
    for answer in (standing.let, standing.sale):
        for one in (*answer.bars, *answer.warnings):
            said.setdefault(f"{one.requirement} {one.kind}", set()).add(one.source)
    for duty in standing.duties:
        said.setdefault(duty.id, set()).add(duty.source)
    return said


@pytest.mark.parametrize("nation", NATIONS)
def test_nothing_cites_law_that_is_not_in_force_yet(amended, nation):
    before = standing_in(nation, CHANGE - DAY, amended, **WORN)
    assert cited(before) == cited(standing_in(nation, CHANGE - DAY, load(), **WORN))
    assert before.changes_on == CHANGE
    after = cited(standing_in(nation, CHANGE, amended, **WORN))
    assert any(source.startswith(AMENDED) for sources in after.values() for source in sources)


@pytest.mark.parametrize("nation", NATIONS)
def test_what_was_set_by_the_law_of_an_earlier_day_still_cites_it(amended, nation):
    after = cited(standing_in(nation, CHANGE, amended, **WORN))
    settled = {
        "england": ("gb_gas_check lapsed", "ew_epc lapsed"),
        "wales": ("gb_gas_check lapsed", "ew_epc lapsed", "wal_eicr.copy_to_tenant"),
        "scotland": ("gb_gas_check lapsed", "sco_epc lapsed"),
        "northern_ireland": ("ni_gas_check lapsed", "ni_epc lapsed", "ni_deposit.protect"),
    }
    for said in settled[nation]:
        assert after[said], said
        assert not any(source.startswith(AMENDED) for source in after[said]), said
