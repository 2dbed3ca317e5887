"""Licences, registrations, energy and sale papers of four nations: what a row of data cannot say."""

from datetime import date, timedelta
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from portfolio.law.lawbook import Lawbook
from portfolio.law.loader import load
from portfolio.law.model import Requirement, Standing
from portfolio.law.variants import assuming

from .nations import TODAY, Facts, standing_in

SHARED: Facts = {
    "dwelling": "house",
    "occupancy": {"persons": 5, "households": 5, "shares_amenities": True},
    "building": {"storeys": 3},
}
HMO = {"wales": "wal_hmo", "scotland": "sco_hmo", "northern_ireland": "ni_hmo"}
REGISTERED = {
    "wales": "wal_registration",
    "scotland": "sco_registration",
    "northern_ireland": "ni_registration",
}
LICENCE: Facts = {"ref": "l", "kind": "hmo_licence"}
REGISTRATION: Facts = {"ref": "r", "kind": "landlord_registration"}


def verdict(answer: Standing, requirement: str) -> Requirement:
    return next(one for one in answer.requirements if one.id == requirement)


def said(answer: Standing, requirement: str) -> list[str]:
    """Everything an answer says under a requirement, bars and warnings alike."""
    every = (*answer.let.bars, *answer.let.warnings, *answer.sale.bars, *answer.sale.warnings)
    return [one.says for one in every if one.requirement == requirement]


@pytest.mark.parametrize("nation", HMO)
@pytest.mark.parametrize(
    ("fact", "facts"),
    [
        ("occupancy.persons", {"occupancy": {"households": 5, "shares_amenities": True}}),
        ("occupancy.households", {"occupancy": {"persons": 5, "shares_amenities": True}}),
        ("landlord", {"landlord": None}),
        ("issued", {"papers": [LICENCE | {"number": "7"}]}),
        ("until", {"papers": [LICENCE | {"issued": "2025-11-25"}]}),
        ("certificates", {"certificates": None}),
    ],
)
def test_a_fact_that_decides_a_licence_is_named_where_it_is_missing(
    fact: str, facts: Facts, nation: str
) -> None:
    answer = standing_in(nation, **(SHARED | facts))
    assert verdict(answer, HMO[nation]).state == "unknown"
    assert any(f"({fact})" in one for one in said(answer, HMO[nation]))
    assert not answer.let.clear


@pytest.mark.parametrize("nation", REGISTERED)
@pytest.mark.parametrize(
    ("fact", "facts"),
    [
        ("landlord", {"landlord": None}),
        ("letting.kind", {"letting": {}}),
        ("issued", {"papers": [REGISTRATION | {"until": "2028-05-11"}]}),
        ("certificates", {"certificates": None}),
    ],
)
def test_a_fact_that_decides_a_registration_is_named_where_it_is_missing(
    fact: str, facts: Facts, nation: str
) -> None:
    answer = standing_in(nation, **facts)
    assert verdict(answer, REGISTERED[nation]).state == "unknown"
    assert any(f"({fact})" in one for one in said(answer, REGISTERED[nation]))


@pytest.mark.parametrize(
    ("nation", "requirement", "fact", "facts"),
    [
        ("scotland", "sco_epc", "registered", {"papers": [{"ref": "p", "kind": "epc", "rating": "C"}]}),
        ("scotland", "sco_epc", "dwelling", {"dwelling": None}),
        ("northern_ireland", "ni_epc", "dwelling", {"dwelling": None}),
        ("northern_ireland", "ni_epc", "certificates", {"certificates": None}),
        (
            "scotland",
            "sco_home_report",
            "inspected",
            {"papers": [{"ref": "h", "kind": "home_report", "number": "1"}]},
        ),
        ("scotland", "sco_home_report", "certificates", {"certificates": None}),
    ],
)
def test_a_fact_that_decides_a_sale_is_named_and_bars_it(
    nation: str, requirement: str, fact: str, facts: Facts
) -> None:
    answer = standing_in(nation, **facts)
    assert verdict(answer, requirement).state == "unknown"
    assert any(f"({fact})" in one.says for one in answer.sale.bars if one.requirement == requirement)


@pytest.mark.parametrize("nation", ["scotland", "northern_ireland"])
def test_a_licence_kept_going_by_an_application_has_no_last_day_and_no_warning(nation: str) -> None:
    held = LICENCE | {"issued": "2024-11-01", "until": "2026-10-31", "applied": "2026-10-30"}
    answer = standing_in(nation, **SHARED, papers=[held])
    assert verdict(answer, HMO[nation]).due is None
    assert said(answer, HMO[nation]) == []


@given(st.dates(date(2026, 10, 1), date(2026, 11, 24)))
def test_only_an_application_made_while_the_licence_ran_keeps_it_going(applied: date) -> None:
    ended = date(2026, 10, 31)
    papers = [
        LICENCE | {"issued": "2024-11-01", "until": ended.isoformat()},
        {"ref": "m", "kind": "hmo_licence", "applied": applied.isoformat()},
    ]
    for nation in ("scotland", "northern_ireland"):
        state = verdict(standing_in(nation, **SHARED, papers=papers), HMO[nation]).state
        assert (state == "met") is (applied <= ended)


@pytest.mark.parametrize(
    ("papers", "state"),
    [
        ([{"kind": "landlord_registration"}], "not_met"),
        ([REGISTRATION | {"issued": "2027-01-04", "until": "2027-03-01"}], "met"),
        ([REGISTRATION | {"issued": "2027-01-04", "until": "2027-02-28"}], "not_met"),
        ([REGISTRATION | {"issued": "2027-01-04"}], "unknown"),
        ([REGISTRATION | {"applied": "2027-01-04"}], "not_met"),
    ],
)
def test_the_database_asks_for_an_entry_once_it_is_assumed(papers: list[Any], state: str) -> None:
    book = assuming(load(), {"landlord_database": date(2027, 3, 1)})
    before, after = (database_on(day, book, papers) for day in (date(2027, 2, 28), date(2027, 3, 1)))
    assert verdict(before, "eng_prs_database").state == "not_applicable"
    assert verdict(after, "eng_prs_database").state == state
    assert after.let.clear is (state == "met")
    assert after.sale.clear


def database_on(day: date, book: Lawbook, papers: list[Any]) -> Standing:
    return standing_in("england", day, book, papers=papers)


def test_an_old_certificate_in_scotland_is_warned_of_for_let_and_sale_and_ends_the_sale() -> None:
    before, after = (standing_in("scotland", date(2026, 10, day)) for day in (30, 31))
    assert said(before, "sco_epc") == []
    for answer in (after.let, after.sale):
        assert [one.kind for one in answer.warnings if one.requirement == "sco_epc"] == ["pending"]
    assert standing_in("scotland", marketing=[{"for": "sale", "from": "2026-11-23"}]).sale.until == date(
        2027, 10, 31
    )


def test_a_home_report_not_yet_used_ends_a_clear_sale() -> None:
    answer = standing_in("scotland")
    assert answer.sale.until == date(2026, 11, 2) + timedelta(weeks=12)


def test_a_late_copy_of_a_home_report_is_warned_of_for_the_sale_only() -> None:
    asked = {"what": "request_received", "of": "hr", "party": "prospect", "on": "2026-11-09"}
    answer = standing_in("scotland", events=[asked])
    assert [one.kind for one in answer.sale.warnings if one.requirement == "sco_home_report"] == ["late"]
    assert [one for one in answer.let.warnings if one.requirement == "sco_home_report"] == []


@pytest.mark.parametrize(
    ("nation", "requirement", "event"),
    [
        ("england", "eng_building_work", {"what": "work_completed", "on": "2019-06-14"}),
        ("wales", "wal_building_work", {"what": "work_completed", "on": "2019-06-14"}),
        ("scotland", "sco_building_work", {"what": "work_completed", "on": "2019-06-14"}),
        ("northern_ireland", "ni_building_work", {"what": "work_completed", "on": "2019-06-14"}),
        ("england", "eng_deposit", {"what": "deposit_received", "on": "2026-10-01"}),
        ("wales", "wal_deposit", {"what": "deposit_received", "on": "2026-10-01"}),
        ("northern_ireland", "ni_deposit", {"what": "deposit_received", "on": "2026-10-01"}),
    ],
)
def test_paperwork_that_is_missing_is_a_remark_and_neither_a_bar_nor_a_warning(
    nation: str, requirement: str, event: Facts
) -> None:
    answer = standing_in(nation, events=[event])
    found = verdict(answer, requirement)
    assert (found.state, found.let) == ("not_met", "info")
    assert found.remarks
    assert said(answer, requirement) == []


def test_an_old_tenancy_owes_none_of_the_newer_papers() -> None:
    old = [{"ref": "t", "granted": "2014-05-01", "starts": "2014-05-05"}]
    newer = ("eng_written_terms", "eng_right_to_rent", "wal_written_statement", "ni_tenancy_information")
    for nation in ("england", "wales", "northern_ireland"):
        duties = standing_in(nation, TODAY, tenancies=old).duties
        assert not [one for one in duties if one.id.partition(".")[0] in newer]
