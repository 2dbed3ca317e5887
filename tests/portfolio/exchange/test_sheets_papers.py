"""Columns for the papers and facts of all four nations: each is read into the kind of paper that it names."""

from datetime import date

import pytest

from portfolio import words
from portfolio.exchange.sheets.headings import columns
from portfolio.forms.paper_fields import FIELDS, NEEDED, SPANS
from portfolio.models import Agency
from tests.factories import make_agency
from tests.portfolio.exchange.sheet_rows import home_row, plan_of, stored, taken

pytestmark = pytest.mark.django_db

DATED = [key for key, column in columns().items() if "." in key and column.kind == "date"]
LISTED = {key.partition(".")[0] for key in DATED} - {"gas_previous"}


@pytest.fixture
def agency() -> Agency:
    return make_agency()


@pytest.mark.parametrize("kind", [kind for kind in words.CERTIFICATE if kind != "other"])
def test_every_kind_of_paper_has_a_column_for_the_day_the_law_counts_from(kind: str) -> None:
    needed = [name for name in (*NEEDED.get(kind, ()), *SPANS.get(kind, ())) if name != "outcome"]
    assert needed
    assert {f"{kind}.{name}" for name in needed} <= set(columns())


@pytest.mark.parametrize("key", DATED)
def test_no_column_holds_a_day_that_its_kind_of_paper_has_not(key: str) -> None:
    group, _, name = key.partition(".")
    kind = "gas_safety_record" if group == "gas_previous" else group
    assert name in (*FIELDS[kind], "until")


@pytest.mark.parametrize("kind", sorted(LISTED - {"gas_safety_record"}))
def test_a_day_in_a_list_becomes_a_paper_of_that_kind(agency: Agency, kind: str) -> None:
    name = next(key.partition(".")[2] for key in DATED if key.startswith(f"{kind}.") and "until" not in key)
    taken(agency, plan_of(agency, home_row(**{columns()[f"{kind}.{name}"].title: "20/11/2026"})))
    (paper,) = stored()[1].certificates or ()
    assert (paper.kind, getattr(paper, name)) == (kind, date(2026, 11, 20))


@pytest.mark.parametrize(("cell", "kept"), [("yes", True), ("No", False), ("tbc", None), ("", None)])
def test_how_people_leave_the_building_is_read_from_a_list(
    agency: Agency, cell: str, kept: bool | None
) -> None:
    taken(agency, plan_of(agency, home_row(**{"Everybody leaves at once": cell})))
    assert stored()[0].simultaneous_evacuation is kept
