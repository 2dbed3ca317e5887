"""Files as they come: every usual encoding and delimiter, workbooks, and everything that is neither."""

import io
import zipfile
from collections.abc import Callable
from contextlib import suppress
from datetime import date, datetime

import pytest
from hypothesis import given
from hypothesis import strategies as st
from openpyxl import Workbook
from openpyxl.utils.datetime import MAC_EPOCH

from portfolio.exchange.sheets import read as reading
from portfolio.exchange.sheets.cells import day
from portfolio.exchange.sheets.read import Unreadable, read
from portfolio.exchange.sheets.table import Table, table_of
from portfolio.exchange.sheets.template import blank_csv, blank_xlsx
from portfolio.exchange.sheets.write import xlsx_bytes

MIDNIGHT = datetime(2026, 4, 3)  # noqa: DTZ001 - a workbook knows no zones
LIST = "Ref{d}Building{d}Landlord{d}EICR date\r\nH1{d}“Café” Row{d}Zoë{d}3 Apr 2026\r\n"


def _table(data: bytes) -> Table:
    return table_of(read(data))


def _book(*rows: list, title: str = "Homes", **more: list[list]) -> bytes:
    book = Workbook()
    book.remove(book.active)
    for name, lines in {title: list(rows), **more}.items():
        sheet = book.create_sheet(name)
        for row in lines:
            sheet.append(row)
    return _saved(book)


def _saved(book: Workbook) -> bytes:
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


@pytest.mark.parametrize("delimiter", [",", ";", "\t", "|"])
@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "utf-16-le", "utf-16-be", "cp1252"])
def test_text_in_any_usual_encoding_and_delimiter_is_read(encoding: str, delimiter: str) -> None:
    table = _table(LIST.format(d=delimiter).encode(encoding))
    assert [column.key for _, column in table.used] == ["ref", "building", "landlord", "eicr.inspected"]
    assert table.lines[0].cells["landlord"][0].value == "Zoë"
    assert table.lines[0].cells["building"][0].value == "“Café” Row"


def test_commas_inside_cells_do_not_fool_the_delimiter() -> None:
    table = _table(b"Ref;Address;Rooms\nH1;Flat 1, 9 Tannery Row, Oxcombe;0: hall, living, kitchen\n")
    assert len(table.used) == 3


def test_quoted_line_breaks_and_uneven_rows_keep_their_cells() -> None:
    table = _table(
        b'Ref,Address,Landlord\nH1,"9 Tannery Row\nOxcombe",Ash\nH2,"1 Row"\nH3,"2 Row",Elm,more,and more\n'
    )
    assert [line.number for line in table.lines] == [2, 3, 4]
    assert table.lines[2].cells["landlord"][0].name == "C4"
    assert table.unused == ("(a column without a heading)", "(a column without a heading)")


def test_headings_are_found_below_titles_and_rows_that_are_no_homes_are_named() -> None:
    table = _table(
        b"All homes of Thimble,,,\n,,,\nRef,Building,Flat,Rent\nH1,Row,1,500\n,,,\nRef,Building,Flat,Rent\n"
        b"H2,Row,2,500\nsee the file,,,\nTOTAL,2,,1000\n"
    )
    assert [line.number for line in table.lines] == [4, 7]
    assert [(row.number, row.why) for row in table.passed] == [
        (1, "stands above the headings"),
        (6, "repeats the headings"),
        (8, "only one cell is filled"),
        (9, "a total or a note"),
    ]
    assert table.unused == ("Rent",)


def test_a_workbook_gives_cells_their_names_and_days_their_value() -> None:
    data = _book(["List of homes"], [], ["Ref", "Building", "EICR date"], ["H1", "Row", MIDNIGHT])
    line = _table(data).lines[0]
    cell = line.cells["eicr.inspected"][0]
    assert (cell.name, day(cell)[0]) == ("Homes!C4", date(2026, 4, 3))


def test_day_numbers_of_a_workbook_that_counts_from_1904() -> None:
    book = Workbook()
    book.epoch = MAC_EPOCH
    book.active.append(["Ref", "Building", "EICR date"])
    book.active.append(["H1", "Row", 46115 - 1462])
    assert day(_table(_saved(book)).lines[0].cells["eicr.inspected"][0])[0] == date(2026, 4, 3)


def test_formulas_and_errors_are_never_trusted() -> None:
    book = Workbook()
    book.active.append(["Ref", "Building", "EICR date", "Gas safety date"])
    book.active.append(["H1", "Row", "=TODAY()", "#REF!"])
    line = _table(_saved(book)).lines[0]
    assert line.cells["eicr.inspected"][0].problem == "holds a formula"
    assert line.cells["gas_safety_record.inspected"][0].problem == "holds the error #REF!"


def test_of_several_sheets_the_list_is_found_and_two_lists_are_not_guessed_between() -> None:
    homes = [["Ref", "Building"], ["H1", "Row"]]
    assert _table(_book(["nothing"], title="Notes", Homes=homes)).title == "Homes"
    with pytest.raises(Unreadable, match="more than one list"):
        _table(_book(*homes, Old=homes))


def test_a_hidden_sheet_is_not_read() -> None:
    book = Workbook()
    book.active.append(["Ref", "Building"])
    book.active.append(["H1", "Row"])
    hidden = book.create_sheet("Old")
    hidden.append(["Ref", "Building"])
    hidden.sheet_state = "hidden"
    assert _table(_saved(book)).lines[0].number == 2


def test_merged_titles_and_groups_of_headings_are_understood() -> None:
    book = Workbook()
    sheet = book.active
    for row in (
        ["Our homes"],
        ["", "", "EICR", "", "EPC"],
        ["Ref", "Building", "Date", "Expiry", "Expiry"],
        ["H1", "R"],
    ):
        sheet.append(row)
    sheet.merge_cells("A1:E1")
    sheet.merge_cells("C2:D2")
    found = [column.key for _, column in _table(_saved(book)).used]
    assert found == ["ref", "building", "eicr.inspected", "eicr.until", "epc.until"]


def _zip(*names: str) -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as parts:
        for name in names:
            parts.writestr(name, "x")
    return out.getvalue()


@pytest.mark.parametrize(
    ("data", "says"),
    [
        (b"", "empty"),
        (b" \r\n ", "empty"),
        (reading.OLD_EXCEL + b"\x00" * 600, "old Excel"),
        (b"%PDF-1.7 ...", "PDF"),
        (_zip("content.xml", "mimetype"), "OpenDocument"),
        (_zip("xl/workbook.xml", "xl/vbaProject.bin"), "macros"),
        (_zip("xl/workbook.bin"), "binary Excel"),
        (_zip("word/document.xml"), "text document"),
        (_zip("photo.jpg"), "ZIP"),
        (_zip("xl/workbook.xml"), "damaged"),
        (b"PK\x03\x04 cut off", "damaged"),
        (b"\x89PNG\r\n\x1a\n" + b"\x00\x01\x02" * 300, "not a spreadsheet|not text"),
        (b"<html><table><tr><td>Ref</td></tr></table></html>", "web page"),
        (b'Ref,Building\nH1,"Row\nH2,Row\n', "quotation mark"),
        (b"Name,Colour\nAsh,green\n", "No row of headings"),
        (b"just some words", "No row of headings"),
    ],
)  # fmt: skip
def test_what_is_no_readable_list_is_refused_in_words(data: bytes, says: str) -> None:
    with pytest.raises(Unreadable, match=says):
        _table(data)


def test_a_workbook_that_unpacks_too_large_is_refused_before_it_is_unpacked() -> None:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as parts:
        parts.writestr("xl/workbook.xml", b"<workbook/>")
        with parts.open("xl/worksheets/sheet1.xml", "w") as bomb:
            for _ in range(reading.MAX_UNPACKED // 1_000_000 + 1):
                bomb.write(b" " * 1_000_000)
    with pytest.raises(Unreadable, match="too large when unpacked"):
        read(out.getvalue())


def test_entities_in_a_workbook_are_not_followed() -> None:
    source = _book(["Ref", "Building"], ["H1", "Row"])
    out = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(source)) as before, zipfile.ZipFile(out, "w") as after:
        for name in before.namelist():
            part = before.read(name)
            if name.startswith("xl/worksheets/"):
                part = b'<!DOCTYPE x [<!ENTITY e SYSTEM "file:///etc/hostname">]>' + part.replace(
                    b"<row", b"&e;<row", 1
                )
            after.writestr(name, part)
    with pytest.raises(Unreadable, match="damaged"):
        read(out.getvalue())


@pytest.mark.parametrize(("rows", "good"), [(reading.MAX_ROWS - 1, True), (reading.MAX_ROWS, False)])
def test_more_rows_than_the_limit_are_refused_not_cut(rows: int, good: bool) -> None:
    data = b"Ref,Building\n" + b"".join(b"H%d,Row\n" % n for n in range(rows))
    if good:
        assert len(_table(data).lines) == rows
        return
    with pytest.raises(Unreadable, match="Split the file"):
        read(data)


def test_more_columns_than_the_limit_are_refused_not_cut() -> None:
    with pytest.raises(Unreadable, match="columns"):
        read(b"Ref,Building" + b",x" * reading.MAX_COLUMNS)


@given(st.binary(max_size=300))
def test_no_bytes_make_reading_fail_otherwise_than_by_refusing(data: bytes) -> None:
    _try(data)


WHOLE = xlsx_bytes(["Ref", "Building", "EICR date"], [["H1", "Row", date(2026, 4, 3)]] * 3)
PLACE = st.floats(0, 1, exclude_max=True)
DAMAGE = st.lists(st.tuples(PLACE, st.binary(min_size=1, max_size=3)), min_size=1, max_size=5)


def _damaged(content: bytes, damage: list[tuple[float, bytes]]) -> bytes:
    changed = bytearray(content)
    for place, wrong in damage:
        at = int(place * len(changed))
        changed[at : at + len(wrong)] = wrong
    return bytes(changed)


@given(DAMAGE)
def test_nor_does_a_workbook_with_damaged_bytes(damage: list[tuple[float, bytes]]) -> None:
    _try(_damaged(WHOLE, damage))


@given(PLACE, DAMAGE)
def test_nor_does_a_workbook_with_a_damaged_part(part: float, damage: list[tuple[float, bytes]]) -> None:
    out = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(WHOLE)) as before, zipfile.ZipFile(out, "w") as after:
        for at, name in enumerate(before.namelist()):
            chosen = at == int(part * len(before.namelist()))
            after.writestr(name, _damaged(before.read(name), damage) if chosen else before.read(name))
    _try(out.getvalue())


def _try(data: bytes) -> None:
    with suppress(Unreadable):
        _table(data)


@pytest.mark.parametrize("blank", [blank_csv, blank_xlsx])
def test_the_blank_list_is_one_we_read_ourselves(blank: Callable[[], bytes]) -> None:
    table = _table(blank())
    assert table.lines == ()
    assert table.unused == ()
    assert [text for text, _ in table.used] == [column.title for _, column in table.used]
