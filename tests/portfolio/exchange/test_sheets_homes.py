"""Which home a row speaks of: by its ref, or by its building and flat; never by a guess."""

import pytest

from portfolio.exchange.sheets.plan import plan
from portfolio.exchange.sheets.write import csv_bytes
from portfolio.models import Agency
from tests.factories import at, make_agency, make_home
from tests.portfolio.exchange.sheet_rows import faults_of, home_row, plan_of

pytestmark = pytest.mark.django_db


@pytest.fixture
def agency() -> Agency:
    return make_agency()


def test_two_columns_for_one_thing_must_agree(agency: Agency) -> None:
    headings = ["Ref", "Building", "EICR date", "Electrical test date"]
    rows = [
        ["H1", "Row 1", "3/4/2024", "3 Apr 2024"],
        ["H2", "Row 2", "", "3/4/2024"],
        ["H3", "Row 3", "3/4/2024", "4/4/2024"],
    ]
    made = plan(csv_bytes(headings, rows), agency=agency, moment=at())
    assert [row.state for row in made.rows] == ["new", "new", "refused"]
    assert faults_of(made.rows[2]) == ["D4 “EICR date” differs from C4, which is a column for the same thing"]


def test_a_repeated_row_points_to_the_first_and_a_contradicting_one_is_refused(agency: Agency) -> None:
    made = plan_of(agency, home_row(Persons="2"), home_row(Persons=" 2 "), home_row(Persons="3"))
    assert [row.state for row in made.rows] == ["new", "duplicate", "refused"]
    assert "row 2" in made.rows[1].notes[0]
    assert "row 2" in made.rows[2].faults[0].wrong
    assert "row 4" in made.rows[0].notes[0]


def test_rows_that_contradict_each_other_about_the_building_are_faults_of_the_later(agency: Agency) -> None:
    made = plan_of(
        agency, home_row("H1", Storeys="3"), home_row("H2", Storeys="4"), home_row("H3", Nation="England")
    )
    assert [row.state for row in made.rows] == ["new", "refused", "new"]
    (building,) = made.portfolio().buildings
    assert (building.storeys, building.nation) == (3, "england")


def test_a_building_without_its_postcode_is_the_one_of_that_name(agency: Agency) -> None:
    made = plan_of(
        agency, {"Building": "Row", "Flat": "1"}, {"Building": "Row", "Flat": "2", "Postcode": "ZZ1 1ZZ"}
    )
    assert len(made.portfolio().buildings) == 1
    assert [row.state for row in made.rows] == ["new", "new"]


def test_a_name_that_several_buildings_have_is_not_guessed(agency: Agency) -> None:
    made = plan_of(agency, {"Building": "Row", "Flat": "1", "Postcode": "ZZ1 1ZZ"},
                 {"Building": "Row", "Flat": "1", "Postcode": "ZZ2 2ZZ"}, {"Building": "Row", "Flat": "1"})  # fmt: skip
    assert [row.state for row in made.rows] == ["new", "new", "refused"]
    assert "could be one of 2 buildings" in made.rows[2].faults[0].wrong


def test_a_ref_that_belongs_to_another_address_is_a_fault(agency: Agency) -> None:
    make_home(agency, ref="flat-2")
    moved = plan_of(agency, {"Home ref": "flat-2", "Building": "Plumb Court", "Flat": "Flat 2"}).rows[0]
    assert "at another address" in moved.faults[0].wrong
    other = plan_of(agency, {"Home ref": "flat-2", "Building": "9 Tannery Row", "Flat": "Flat 3"}).rows[0]
    assert "on record as" in other.faults[0].wrong
    double = plan_of(agency, {"Home ref": "H9", "Building": "9 Tannery Row", "Flat": "Flat 2"}).rows[0]
    assert "on record as" in double.faults[0].wrong


def test_a_row_without_a_building_or_a_known_ref_is_a_fault(agency: Agency) -> None:
    assert "no building" in plan_of(agency, {"Home ref": "H1", "Persons": "2"}).rows[0].faults[0].wrong


@pytest.mark.parametrize(
    ("address", "label", "name"),
    [
        ("Flat 2, 9 Tannery Row, Oxcombe, ZZ1 1ZZ", "Flat 2", "9 Tannery Row"),
        ("flat 2 9 Tannery Row, Oxcombe ZZ1 1ZZ", "flat 2", "9 Tannery Row"),
        ("12, Mill Lane, Oxcombe", None, "12 Mill Lane"),
        ("Ground Floor Flat, 9 Tannery Row", "Ground Floor Flat", "9 Tannery Row"),
        ("The Old Forge, Weir Path, Marrowby", None, "The Old Forge"),
    ],
)  # fmt: skip
def test_an_address_in_one_cell_is_taken_apart(
    agency: Agency, address: str, label: str | None, name: str
) -> None:
    made = plan_of(agency, {"Address": address, "Nation": "England"})
    (building,), (unit,) = made.portfolio().buildings, made.portfolio().units
    assert (unit.label, building.name) == (label, name)


def test_a_landlord_on_record_is_known_by_name_and_given_an_e_mail_once(agency: Agency) -> None:
    make_home(agency, ref="flat-2")
    made = plan_of(agency, {"Home ref": "flat-2", "Landlord": "l1", "Landlord e-mail": "new@example.org"})
    assert [change.what for change in made.rows[0].changes] == ["landlord's e-mail"]
    assert made.landlords["L1"].email == "new@example.org"


def test_another_agency_is_neither_seen_nor_matched(agency: Agency) -> None:
    make_home(make_agency(), ref="flat-2")
    row = plan_of(agency, {"Home ref": "flat-2", "Building": "9 Tannery Row", "Postcode": "ZZ1 1ZZ"}).rows[0]
    assert row.state == "new"
