"""Every duty and every requirement of the packs leads to the page where something can be done about it."""

from datetime import date
from typing import Any

import pytest
from django.urls import resolve

from portfolio import words
from portfolio.law import model as law
from portfolio.law.loader import load
from portfolio.law.policy import Policy, with_policy
from portfolio.models import Unit
from portfolio.selectors.steps import (
    COPIES,
    FACTS_FOR,
    NOT_HERE,
    PAPER_FOR,
    WAYS,
    Spoken,
    Step,
    Way,
    step_for,
    step_for_duty,
    step_to_renew,
    step_to_send,
    way_of,
)
from tests.portfolio.law.nations import standing_in

HOME = Unit(pk=7)
DUTIES = sorted(f"{topic.id}.{name}" for topic in load().topics.values() for name in topic.duty_titles)


def a_duty(name: str, state: law.DutyState = law.DutyState.OPEN, **more: Any) -> law.Duty:
    return law.Duty(name, "Do it", date(2026, 12, 1), "tenant", "e 1&2", state, "SI", law.Basis.TEXT, **more)


def a_reason(requirement: str, kind: str, says: str = "Amiss.", of: str | None = None) -> law.Reason:
    return law.Reason(requirement, kind, of, None, says, "Mend it.", "SI", law.Basis.TEXT)


@pytest.mark.parametrize("duty", DUTIES)
def test_every_duty_of_the_packs_says_how_it_is_closed(duty):
    assert way_of(duty) != Way()
    step = step_for_duty(a_duty(duty), HOME)
    assert step is not None
    assert resolve(step.url.partition("?")[0].partition("#")[0]).kwargs == {"pk": 7}


def test_no_way_is_kept_for_a_duty_that_no_pack_names():
    names = {duty.rpartition(".")[2] for duty in DUTIES} | set(DUTIES)
    assert set(WAYS) <= names


def test_every_act_and_paper_a_duty_leads_to_is_one_we_know():
    for way in WAYS.values():
        assert way.act in ("", *words.ACT)
        assert way.paper in ("", *words.CERTIFICATE)


@pytest.mark.parametrize("duty", DUTIES)
def test_every_copy_of_a_paper_can_be_sent_and_nothing_else(duty):
    """A written summary is a copy of no paper."""
    step, way = step_to_send(duty, "e 1&2", "council", HOME), way_of(duty)
    name = duty.rpartition(".")[2]
    assert (step is not None) is (
        name == "confirm_to_council" or (way.act == "copy_given" and name != "summary")
    )
    if step:
        path, _, query = step.url.partition("?")
        assert (resolve(path).url_name, step.needs) == ("papers_send", "send_papers")
        assert query == "of=e+1%262&party=council"


def test_a_copy_to_nobody_or_of_nothing_cannot_be_sent():
    assert step_to_send("eng_eicr.copy_to_tenant", "", "tenant", HOME) is None
    assert step_to_send("eng_eicr.copy_to_tenant", "e1", "", HOME) is None
    assert {name for name in COPIES if not any(duty.endswith(f".{name}") for duty in DUTIES)} == set()


@pytest.mark.parametrize(
    ("code", "asked"),
    [("gb_gas_check", True), ("eng_eicr", True), ("ew_epc", True), ("eng_hmo_licence", False)]
    + [("eng_prs_database", False), ("house_margin", False), ("eng_alarms", False), ("eng_deposit", False)],
)
def test_a_contractor_is_asked_for_what_contractors_make(code, asked):
    step = step_to_renew(code, HOME)
    assert (step is not None) is asked
    if step:
        path, _, query = step.url.partition("?")
        assert (resolve(path).url_name, step.needs, query) == ("renewal_ask", "send_job", f"code={code}")


def test_the_act_of_a_duty_comes_filled_in():
    step = step_for_duty(a_duty("sco_damp.summary"), HOME)
    assert step is not None
    assert step.url == "/homes/7/acts/add/?what=copy_given&of=e+1%262&party=tenant"
    assert step.needs == "edit_home"


@pytest.mark.parametrize(
    ("duty", "where"),
    [
        ("eng_awaab_social.make_safe", "/homes/7/defects/"),
        ("eng_eicr_equipment_social.make_safe", "/homes/7/acts/add/"),
        ("eng_building_work.certificate", "/homes/7/certificates/add/"),
        ("eng_alarms.test_on_start", "/homes/7/facts/"),
    ],
)
def test_duties_that_no_plain_act_closes_lead_elsewhere(duty, where):
    step = step_for_duty(a_duty(duty), HOME)
    assert step is not None
    assert step.url.partition("?")[0].partition("#")[0] == where


def test_a_duty_that_is_done_needs_no_step():
    assert step_for_duty(a_duty("eng_eicr.copy_to_tenant", law.DutyState.DONE), HOME) is None


def test_every_requirement_of_the_packs_is_sorted():
    sorts = [set(PAPER_FOR), set(FACTS_FOR), NOT_HERE]
    assert set(load().topics) == set().union(*sorts)
    assert sum(map(len, sorts)) == len(load().topics)


@pytest.mark.parametrize("requirement", sorted(PAPER_FOR))
def test_a_missing_paper_leads_to_adding_its_kind(requirement):
    step = step_for(a_reason(requirement, "missing"), Spoken(HOME, {}, {}))
    assert step is not None
    assert step.url == f"/homes/7/certificates/add/?kind={PAPER_FOR[requirement]}"


@pytest.mark.parametrize(
    ("reason", "where"),
    [
        (a_reason("eng_fire_doors_11m", "missing", "No check of the entrance door of the flat is on record."),
         "/homes/7/certificates/add/?kind=fire_door_check_flat"),
        (a_reason("eng_hhsrs", "prohibited", of="d1"),
         "/homes/7/acts/add/?what=prohibition_lifted&of=d1&party=council"),
        (a_reason("sco_damp", "late"), "/homes/7/#duties"),
        (a_reason("sco_damp", "danger"), "/homes/7/defects/"),
        (a_reason("sco_rcd", "missing"), "/homes/7/facts/#id_home-main_board_rcd_30ma"),
        (a_reason("eng_deposit", "unknown", "Not recorded: whether anything was done (events)."), "/homes/7/acts/add/"),
        (a_reason("ew_epc", "unknown", "Not recorded: since when (marketing.from)."), "/homes/7/marketing/add/"),
        (a_reason("eng_residential_peeps", "unknown", "Not recorded: whether (simultaneous_evacuation)."),
         "/homes/7/facts/#id_building-simultaneous_evacuation"),
    ],
)  # fmt: skip
def test_a_reason_leads_to_where_it_can_be_lifted(reason, where):
    step = step_for(reason, Spoken(HOME, {}, {}))
    assert step is not None
    assert step.url == where


POLICY = {
    "gas_margin_days": 366, "electrical_margin_days": 366, "energy_margin_days": 366,
    "worst_band": "B", "alarm_test_months": 3, "also_dangers": {"bs7671": ["C3"]},
}  # fmt: skip
"""A house that asks everything it can."""


def reasons_of_the_house(nation: str, **facts: Any) -> list[law.Reason]:
    book = with_policy(load(), Policy.of(POLICY, load()))
    said = standing_in(nation, book=book, **facts)
    found = {one for answer in (said.let, said.sale) for one in (*answer.bars, *answer.warnings)}
    return [one for one in found if load().topics[one.requirement].pack == "house"]


ENDING = [
    {"ref": "e", "kind": "eicr", "inspected": "2022-03-01", "outcome": "satisfactory"},
    {"ref": "p", "kind": "epc", "registered": "2017-05-02", "rating": "C"},
]
FAILED = {"ref": "e", "kind": "eicr", "inspected": "2025-03-03", "outcome": "unsatisfactory"}
SOFT = {"ref": "d", "scheme": "bs7671", "code": "C3", "title": "Old fittings", "found": "2026-03-02"}
UNTESTED = {"ref": "s0", "kind": "smoke", "room": "hall", "working": True, "tested": []}


@pytest.mark.parametrize("nation", law.NATIONS)
def test_whatever_the_house_asks_leads_to_where_it_can_be_met(nation):
    amiss = {"papers": [FAILED], "defects": [SOFT], "alarms": [UNTESTED]}
    found = reasons_of_the_house(nation, papers=ENDING) + reasons_of_the_house(nation, **amiss)
    steps = {one: step_for(one, Spoken(HOME, {}, {})) for one in found}
    assert None not in steps.values()
    wales_alone = set() if nation == "wales" else {"house_failed_report"}
    house = {topic.id for topic in load().topics.values() if topic.pack == "house"}
    assert {one.requirement for one in found} == house - wales_alone
    renewed = {
        step.url.rpartition("=")[2] for one, step in steps.items() if one.requirement == "house_margin"
    }
    assert renewed == {"gas_safety_record", "eicr", "epc"}


@pytest.mark.parametrize(
    ("says", "kind"),
    [
        (
            "The gas check is good until 2 June 2027; the house policy wants 300 days in hand.",
            "gas_safety_record",
        ),
        (
            "The electrical report is good until 1 March 2029; the house policy wants 900 days in hand.",
            "eicr",
        ),
        (
            "The energy certificate is good until 9 September 2030; the house policy wants 1900 days in hand.",
            "epc",
        ),
    ],
)
def test_days_in_hand_lead_to_the_paper_that_has_to_be_renewed(says, kind):
    step = step_for(a_reason("house_margin", "lapsed", says, of="x"), Spoken(HOME, {}, {"x": 3}))
    assert step == Step(
        f"Add: {words.CERTIFICATE[kind]}", f"/homes/7/certificates/add/?kind={kind}", "add_certificate"
    )


def test_what_cannot_be_done_on_a_page_has_no_step():
    assert step_for(a_reason("law_not_held", "missing"), Spoken(HOME, {}, {})) is None
