"""Downloads: what is written is what was meant, and nothing in it runs."""

import csv
import io
from datetime import date
from zipfile import ZipFile

import pytest
from hypothesis import given
from hypothesis import strategies as st
from openpyxl import load_workbook

from portfolio.exchange.sheets import write

RUNS = ["=1+1", "=cmd|' /C calc'!A0", "+44 1632 960001", "-2+3", "@SUM(A1)", "\t=1", "\r=1", " =1+1"]


def _csv(data: bytes) -> list[list[str]]:
    return list(csv.reader(io.StringIO(data.decode("utf-8-sig"), newline="")))


def _first_row(data: bytes) -> list:
    sheet = load_workbook(io.BytesIO(data)).worksheets[0]
    return [cell for cell in list(sheet.rows)[1]]


@pytest.mark.parametrize("text", RUNS)
def test_text_that_would_run_is_quoted_in_csv(text: str) -> None:
    assert _csv(write.csv_bytes(["A"], [[text]]))[1] == [f"'{text}"]


@pytest.mark.parametrize("text", RUNS)
def test_text_that_would_run_is_plain_text_in_xlsx(text: str) -> None:
    data = write.xlsx_bytes(["A"], [[text]])
    cell = _first_row(data)[0]
    assert cell.data_type == "s"
    assert cell.number_format == "@"
    with ZipFile(io.BytesIO(data)) as parts:
        assert b"<f>" not in parts.read("xl/worksheets/sheet1.xml")


def test_lists_are_inert_too() -> None:
    assert _csv(write.csv_bytes(["A"], [[["=1+1", "x"]]]))[1] == ["'=1+1, x"]


def test_headings_are_inert_too() -> None:
    assert _csv(write.csv_bytes(["=1+1"], []))[0] == ["'=1+1"]


def test_a_column_without_a_heading_can_be_written() -> None:
    assert _csv(write.csv_bytes(["A", ""], [["x", "y"]])) == [["A", ""], ["x", "y"]]
    assert [cell.value for cell in _first_row(write.xlsx_bytes(["A", ""], [["x", "y"]]))] == ["x", "y"]


def test_values_keep_their_kind() -> None:
    row = [None, True, False, date(2026, 4, 3), -5, 1.5, ("a", "b")]
    assert _csv(write.csv_bytes(list("abcdefg"), [row]))[1] == [
        "",
        "yes",
        "no",
        "2026-04-03",
        "-5",
        "1.5",
        "a, b",
    ]
    cells = _first_row(write.xlsx_bytes(list("abcdefg"), [row]))
    assert cells[3].is_date
    assert cells[3].value.date() == date(2026, 4, 3)
    assert [cell.value for cell in cells[4:]] == [-5, 1.5, "a, b"]


def test_a_cell_too_long_for_a_workbook_says_that_it_was_cut() -> None:
    (cell,) = _first_row(write.xlsx_bytes(["A"], [["x" * 40_000]]))
    assert len(cell.value) == write.LONGEST_CELL
    assert cell.value.endswith(write.CUT)


@pytest.mark.parametrize("title", ["", "[]:*?/\\", "x" * 40, "Homes / today"])
def test_any_title_becomes_one_a_workbook_accepts(title: str) -> None:
    name = load_workbook(io.BytesIO(write.xlsx_bytes(["A"], [], title))).sheetnames[0]
    assert 0 < len(name) <= 31


@given(st.text())
def test_no_text_is_refused_and_none_runs(text: str) -> None:
    kept = _csv(write.csv_bytes(["A"], [[text, "end"]]))[1][0]
    assert not kept.lstrip().startswith(("=", "+", "-", "@"))
    cell = _first_row(write.xlsx_bytes(["A"], [[text, "end"]]))[0]
    assert cell.data_type == ("s" if text else "n")
