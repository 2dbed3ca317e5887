"""What a list may say of defects: that none is open. Anything more needs a code and a day, so it is refused."""

import pytest

from portfolio.exchange.sheets.plan import RowPlan, plan
from portfolio.exchange.sheets.write import csv_bytes
from tests.factories import at, make_agency

pytestmark = pytest.mark.django_db


def planned(text: str) -> RowPlan:
    headings = ["Our Ref", "Block", "Flat No.", "Known Defects?"]
    (row,) = plan(
        csv_bytes(headings, [["H1", "Plumb Court", "4", text]]), agency=make_agency(), moment=at()
    ).rows
    return row


@pytest.mark.parametrize("text", ["none", "None ", "NIL", "no"])
def test_none_records_that_no_defect_is_open(text: str) -> None:
    row = planned(text)
    assert row.unit is not None
    assert row.unit.defects == ()
    assert ("defects", "not recorded", "none") in [(c.what, c.old, c.new) for c in row.changes]


@pytest.mark.parametrize("text", ["", "N/A", "tbc", "?"])
def test_silence_about_defects_is_not_taken_for_none(text: str) -> None:
    row = planned(text)
    assert row.unit is not None
    assert row.unit.defects is None


@pytest.mark.parametrize("text", ["loose socket", "C2", "yes", "none known yet", "=1+1"])
def test_a_defect_in_a_cell_is_a_fault(text: str) -> None:
    row = planned(text)
    assert row.state == "refused"
    assert [fault.path for fault in row.faults] == ["D2"]
