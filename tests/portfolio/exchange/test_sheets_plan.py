"""From the bytes of a list to what each row would do, and what is on record once it is taken in."""

from contextlib import suppress
from datetime import date

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from portfolio.exchange.sheets.plan import plan
from portfolio.exchange.sheets.read import Unreadable
from portfolio.exchange.sheets.write import csv_bytes, xlsx_bytes
from portfolio.facts import portfolio_of
from portfolio.law import model as law
from portfolio.models import Agency, Certificate, Unit
from portfolio.services.take_in import take_in
from tests.factories import at, make_agency, make_home, make_user
from tests.portfolio.exchange.sheet_rows import faults_of, home_row, plan_of, stored, taken

pytestmark = pytest.mark.django_db

FULL = {
    "Home ref": "H1", "Building": "Plumb Court", "Flat": "Flat 4", "Address line 1": "4 Plumb Lane", "Town": "Marrowby",
    "Postcode": "zz4 2pl", "Nation": "England", "Year built": "1931", "Storeys": "3", "Top storey height (m)": "6.5 m",
    "Purpose-built flats": "yes", "Landlord": "Ash Elm", "Landlord e-mail": "Ash@example.org",
    "Kind of landlord": "Private landlord", "Kind of home": "Apartment", "Let as": "AST", "Tenancy starts": "3/1/26",
    "Tenancy ends": "2/1/27", "Persons": "2", "Households": "1", "Shared amenities": "N",
    "Additional licensing area": "no", "Selective licensing area": "no",
    "Rooms": "0: hall, living, kitchen; 1: landing, 2 bedroom, bathroom",
    "Fuel-burning appliances": "gas boiler kitchen landlord 2019-06-03; open fire living landlord",
    "Alarms": "smoke hall mains working tested 1/11/2026; smoke landing mains working; co kitchen battery working",
    "EICR date": "3rd April 2024", "EICR expiry": "02.04.2029", "EICR result": "Satisfactory", "EICR number": "E-77",
    "Gas safety date": "2 Apr 2026", "Gas result": "safe", "Previous gas safety date": "1/5/2025",
    "EPC rating": "c", "EPC date": "10/9/2020", "HMO licence expiry": "N/A", "Rent": "£700",
}  # fmt: skip


@pytest.fixture
def agency() -> Agency:
    return make_agency()


def test_a_full_row_becomes_the_facts_it_says_and_nothing_more(agency: Agency) -> None:
    made = plan_of(agency, FULL)
    assert (made.rows[0].state, made.rows[0].faults, made.table.unused) == ("new", [], ("Rent",))
    taken(agency, made)
    building, unit = stored()
    assert building == law.Building(
        building.ref,
        "Plumb Court",
        "england",
        ("4 Plumb Lane", "Marrowby"),
        "ZZ4 2PL",
        1931,
        3,
        6.5,
        None,
        True,
    )
    assert (unit.label, unit.dwelling, unit.landlord, unit.landlord_ref) == (
        "Flat 4",
        "flat",
        "private",
        "Ash Elm",
    )
    assert unit.occupancy == law.Occupancy(2, 1, False)
    assert unit.hmo == law.Hmo(False, False)
    assert unit.tenancies == (law.Tenancy("tenancy-2026-01-03", None, date(2026, 1, 3), date(2027, 1, 2)),)
    assert [(room.ref, room.level) for room in unit.rooms or ()] == [
        ("hall", 0), ("living", 0), ("kitchen", 0), ("landing", 1), ("bedroom", 1), ("bedroom-2", 1), ("bathroom", 1),
    ]  # fmt: skip
    assert unit.appliances == (
        law.Appliance("gas-boiler", "gas_boiler", "kitchen", "landlord", date(2019, 6, 3)),
        law.Appliance("open-fire", "open_fire", "living", "landlord", None),
    )
    assert [alarm.ref for alarm in unit.alarms or ()] == ["smoke-hall", "smoke-landing", "co-kitchen"]
    papers = {paper.ref: paper for paper in unit.certificates or ()}
    assert papers["eicr-2024-04-03"] == law.Certificate(
        "eicr-2024-04-03", "eicr", "E-77", date(2024, 4, 3), until=date(2029, 4, 2), outcome="satisfactory"
    )
    assert papers["gas-2026-04-02"].appliances == (law.ApplianceCheck("gas-boiler", "safe"),)
    assert papers["gas-2025-05-01"].appliances == (law.ApplianceCheck("gas-boiler", None),)
    assert papers["epc-2020-09-10"].rating == "C"
    assert set(papers) == {"eicr-2024-04-03", "gas-2026-04-02", "gas-2025-05-01", "epc-2020-09-10"}


def test_the_same_list_twice_changes_nothing(agency: Agency) -> None:
    taken(agency, plan_of(agency, FULL))
    before = portfolio_of(Unit.objects.values_list("pk", flat=True))
    again = plan_of(agency, FULL)
    assert [change for change in again.rows[0].changes if "e-mail" not in change.what] == []
    taken(agency, again)
    assert portfolio_of(Unit.objects.values_list("pk", flat=True)) == before


def test_without_a_ref_a_home_is_known_by_its_building_and_flat(agency: Agency) -> None:
    unit = make_home(agency, ref="flat-2")
    made = plan_of(
        agency, {"Address": "flat 2, 9 TANNERY ROW, Oxcombe, zz1 1zz", "EICR date": "14/3/23", "Persons": "3"}
    )
    row = made.rows[0]
    assert (row.state, row.ref) == ("changed", unit.ref)
    assert [(change.what, change.old, change.new) for change in row.changes] == [("persons", "2", "3")]


def test_papers_rooms_and_alarms_on_record_are_found_again_under_their_own_refs(agency: Agency) -> None:
    make_home(agency, ref="flat-2")
    row = plan_of(
        agency,
        {
            "Home ref": "flat-2", "Rooms": "0: hall, lounge, kitchen, bedroom, bathroom, wc", "EPC date": "10/09/2020",
            "Gas appliances": "boiler kitchen", "Oil, solid fuel and open fires": "none", "Gas result": "safe",
            "Gas safety date": "02/04/2026", "Smoke alarms": "hall tested 3/11/2026", "CO alarms": "kitchen",
        },
    ).rows[0]  # fmt: skip
    assert row.faults == []
    assert [(change.what, change.new) for change in row.changes] == [
        ("room wc", "level 0, WC"), ("alarm s1: tested", "3 Nov 2026"),
    ]  # fmt: skip


def test_a_day_against_the_record_makes_another_paper_and_a_result_against_it_is_refused(
    agency: Agency,
) -> None:
    make_home(agency, ref="flat-2")
    other = plan_of(agency, {"Home ref": "flat-2", "EICR date": "15/3/2023"}).rows[0]
    assert [change.what for change in other.changes] == ["certificate eicr-2023-03-15"]
    against = plan_of(
        agency, {"Home ref": "flat-2", "EICR date": "14/3/2023", "EICR result": "unsatisfactory"}
    ).rows[0]
    assert against.state == "refused"
    assert "already held with a different value" in against.faults[0].wrong


def test_nothing_on_record_is_taken_away(agency: Agency) -> None:
    make_home(agency, ref="flat-2")
    before = stored("flat-2")[1]
    taken(
        agency, plan_of(agency, {"Home ref": "flat-2", "Rooms": "0: wc", "Persons": "4", "EICR date": "n/a"})
    )
    after = stored("flat-2")[1]
    assert after.occupancy.persons == 4
    assert set(before.rooms or ()) < set(after.rooms or ())
    assert (after.alarms, after.certificates) == (before.alarms, before.certificates)


@pytest.mark.parametrize(
    ("heading", "many"),
    [("Rooms", 5), ("Fuel-burning appliances", 1), ("CO alarms", 1), ("Gas appliances", 1)],
)
def test_none_against_what_is_on_record_is_a_fault(agency: Agency, heading: str, many: int) -> None:
    make_home(agency, ref="flat-2")
    row = plan_of(agency, {"Home ref": "flat-2", heading: "none"}).rows[0]
    assert faults_of(row) == [f"B2 says that there are none, but {many} on record"]


def test_no_co_alarms_does_not_say_that_there_are_no_others(agency: Agency) -> None:
    alone = plan_of(agency, home_row(**{"CO alarms": "none"}))
    assert alone.portfolio().units[0].alarms is None
    assert "smoke alarms" in alone.rows[0].notes[0]
    both = plan_of(agency, home_row(**{"CO alarms": "none", "Smoke alarms": "none"}))
    assert both.portfolio().units[0].alarms == ()


def test_no_open_defect_may_be_said_only_where_none_is(agency: Agency) -> None:
    assert plan_of(agency, home_row(**{"Known defects": "none"})).portfolio().units[0].defects == ()
    assert plan_of(agency, home_row(**{"Known defects": "?"})).portfolio().units[0].defects is None
    assert (
        "speaks of a defect"
        in plan_of(agency, home_row(**{"Known defects": "loose socket"})).rows[0].faults[0].wrong
    )
    make_home(agency, ref="flat-2", defects=(law.Defect("d1", "bs7671", "C2", found=date(2026, 11, 20)),))
    row = plan_of(agency, {"Home ref": "flat-2", "Known defects": "none"}).rows[0]
    assert faults_of(row) == ["B2 says that no defect is open, but 1 on record"]


def test_none_of_a_kind_agrees_with_a_record_of_other_kinds(agency: Agency) -> None:
    make_home(agency, ref="flat-2")
    assert plan_of(agency, {"Home ref": "flat-2", "Heat alarms": "none"}).rows[0].state == "same"


@pytest.mark.parametrize("word", ["", "N/A", "tbc", "?", "-", "unknown"])
def test_not_recorded_never_becomes_none(agency: Agency, word: str) -> None:
    made = plan_of(
        agency,
        home_row(**{"Fuel-burning appliances": word, "Alarms": word, "Rooms": word, "EICR result": word}),
    )
    taken(agency, made)
    unit = stored()[1]
    assert (unit.appliances, unit.alarms, unit.rooms, unit.certificates) == (None, None, None, None)


def test_none_records_that_there_are_none(agency: Agency) -> None:
    taken(
        agency, plan_of(agency, home_row(**{"Fuel-burning appliances": "None", "Tenancy starts": "vacant"}))
    )
    unit = stored()[1]
    assert (unit.appliances, unit.tenancies) == ((), ())


@pytest.mark.parametrize("gas", ["none", "boiler"])
def test_gas_alone_does_not_say_that_nothing_else_burns_fuel(agency: Agency, gas: str) -> None:
    alone = plan_of(agency, home_row(**{"Gas appliances": gas}))
    assert alone.portfolio().units[0].appliances is None
    assert "Oil, solid fuel and open fires" in alone.rows[0].notes[0]
    both = plan_of(agency, home_row(**{"Gas appliances": gas, "Oil, solid fuel and open fires": "none"}))
    assert both.portfolio().units[0].appliances is not None


def test_an_expiry_alone_is_kept_and_later_filled_by_the_day(agency: Agency) -> None:
    first = plan_of(agency, home_row(**{"EICR expiry": "2/4/2029"}))
    assert "day it was made stays not recorded" in first.rows[0].notes[0]
    taken(agency, first)
    assert stored()[1].certificates == (
        law.Certificate("eicr-until-2029-04-02", "eicr", until=date(2029, 4, 2)),
    )
    taken(agency, plan_of(agency, home_row(**{"EICR date": "3/4/2024", "EICR expiry": "2/4/2029"})))
    paper = Certificate.objects.get()
    assert (paper.inspected, paper.until, paper.outcome) == (date(2024, 4, 3), date(2029, 4, 2), None)


def test_a_rating_without_a_day_is_named_and_not_stored(agency: Agency) -> None:
    made = plan_of(agency, home_row(**{"EPC rating": "C"}))
    assert made.portfolio().units[0].certificates is None
    assert "no day of this paper" in made.rows[0].notes[0]


@pytest.mark.parametrize(
    ("heading", "cell", "fault"),
    [
        ("EICR date", "31/02/2024", "does not exist"),
        ("EICR date", "04/13/2024", "month first"),
        ("EICR date", "26/11/2026", "future"),
        ("EICR date", "=TODAY()", "formula"),
        ("EICR result", "fine", "not a word"),
        ("Landlord e-mail", "ash at example", "not an e-mail"),
        ("Postcode", "ZZ4", "whole postcode"),
        ("Persons", "two", "whole number"),
        ("Shared amenities", "some", "neither yes nor no"),
        ("Alarms", "smoke attic mains", "not understood"),
        ("Alarms", "smoke hall mains", "not one room on record"),
        ("Fuel-burning appliances", "boiler", "not an appliance"),
        ("Gas result", "boiler safe; hob fine", "not"),
        ("EICR number", "=cmd|' /C calc'!A0", "formula"),
        ("EICR number", "+44", "formula"),
        ("Home ref", "@SUM(A1)", "formula"),
        ("Flat", "x" * 201, "201 characters"),
    ],
)
def test_a_cell_that_cannot_be_taken_refuses_its_row_and_is_named(
    agency: Agency, heading: str, cell: str, fault: str
) -> None:
    row = {"Home ref": "H1", "Building": "Row"} | {heading: cell}
    data = xlsx_bytes(list(row), [list(row.values()), ["H2", "Row", ""]], "Homes")
    made = plan(data, agency=agency, moment=at())
    assert [row.state for row in made.rows] == ["refused", "new"]
    assert made.rows[0].faults[0].path == f"Homes!{'ABCDE'[list(row).index(heading)]}2"
    assert fault in made.rows[0].faults[0].wrong
    assert made.rows[0].faults[0].cure


@pytest.mark.parametrize(
    ("day", "state"), [("24/11/2026", "new"), ("25/11/2026", "new"), ("26/11/2026", "refused")]
)
def test_an_inspection_may_be_of_today_and_no_later(agency: Agency, day: str, state: str) -> None:
    assert plan_of(agency, home_row(**{"EICR date": day})).rows[0].state == state


def test_text_that_looks_like_a_formula_is_kept_as_text_in_a_name(agency: Agency) -> None:
    made = plan_of(agency, home_row(Landlord="=1+1", Town="-- Marrowby --"))
    taken(agency, made)
    assert stored()[1].landlord_ref == "=1+1"


def test_days_out_of_order_are_faults(agency: Agency) -> None:
    row = plan_of(agency, home_row(**{"EICR date": "3/4/2024", "EICR expiry": "2/4/2024",
                                 "Tenancy starts": "3/4/2024", "Tenancy ends": "2/4/2024"})).rows[0]  # fmt: skip
    assert len(row.faults) == 2
    assert row.state == "refused"


def test_a_gas_result_of_danger_must_name_its_appliance(agency: Agency) -> None:
    gas = {"Rooms": "0: kitchen", "Fuel-burning appliances": "gas boiler kitchen; gas hob kitchen",
           "Gas safety date": "2/4/2026"}  # fmt: skip
    vague = plan_of(agency, home_row(**gas, **{"Gas result": "at risk"})).rows[0]
    assert "which appliance" in vague.faults[0].wrong
    told = plan_of(agency, home_row(**gas, **{"Gas result": "boiler safe; hob at risk"}))
    (paper,) = told.portfolio().units[0].certificates or ()
    assert paper.appliances == (
        law.ApplianceCheck("gas-boiler", "safe"), law.ApplianceCheck("gas-cooker", "ar"),
    )  # fmt: skip


CELL = st.one_of(
    st.text(max_size=25),
    st.sampled_from(
        ["3/4/26", "N/A", "none", "=1", "safe", "yes", "0: hall, kitchen", "smoke hall", "Flat 1", "H1"]
    ),
)


@settings(max_examples=60, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.lists(st.lists(CELL, min_size=3, max_size=len(FULL)), min_size=1, max_size=4))
def test_no_list_makes_planning_fail_and_what_is_good_can_be_taken_in(
    agency: Agency, rows: list[list[str]]
) -> None:
    with suppress(Unreadable):
        made = plan(csv_bytes(list(FULL), rows), agency=agency, moment=at())
        assert all(bool(row.faults) == (row.state == "refused") for row in made.rows)
        take_in(made.portfolio(), agency=agency, actor=make_user(agency), moment=at())
