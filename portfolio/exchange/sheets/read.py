"""The bytes of a spreadsheet as sheets of named cells. Nothing in a workbook is calculated, run or followed."""

import csv
import io
import zipfile
import zlib
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from xml.etree.ElementTree import ParseError

from defusedxml.common import DefusedXmlException

from portfolio.exchange.sheets.cells import EPOCH_1900, EPOCH_1904, Cell, plain, short

MAX_ROWS = 20_000
MAX_COLUMNS = 300
MAX_CELLS = 6_000_000
MAX_SHEET_ROW = 1_048_576
MAX_UNPACKED = 250_000_000
MAX_PARTS = 2_000
DELIMITERS = ",;\t|"
SAMPLE_LINES = 60
OLD_EXCEL = b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1"
SAVE_AS = "Save it as an Excel workbook (.xlsx) or as CSV and upload that."
OTHER_ZIPS = {
    "xl/vbaProject.bin": "The workbook holds macros.",
    "xl/workbook.bin": "This is a binary Excel workbook (.xlsb).",
    "word/document.xml": "This is a text document, not a spreadsheet.",
    "content.xml": "This is an OpenDocument file (.ods).",
    "Index/Document.iwa": "This is a Numbers file.",
}
DAMAGED = (
    zipfile.BadZipFile, zlib.error, ParseError, DefusedXmlException, SyntaxError, OSError, EOFError, KeyError,
    ValueError, TypeError, AttributeError, IndexError, OverflowError, NotImplementedError, RuntimeError,
)  # fmt: skip
"""What openpyxl and zipfile raise on broken files: they promise no error type of their own."""


class Unreadable(Exception):
    """The file cannot be read as a spreadsheet; the text says why and what to do."""


@dataclass(frozen=True, slots=True)
class Row:
    """A row that holds something. `number` is the row's number in the sheet, from 1."""

    number: int
    cells: tuple[Cell, ...]


@dataclass(frozen=True, slots=True)
class Sheet:
    title: str
    rows: tuple[Row, ...]


def read(data: bytes) -> list[Sheet]:
    """Every visible sheet of a workbook, or the one of a CSV file in each way it can be divided into columns.

    Known by content, not by name. Raises Unreadable.
    """
    if not data.strip():
        raise Unreadable("The file is empty. Choose it again; perhaps the copy was broken off.")
    if data.startswith(OLD_EXCEL):
        raise Unreadable(f"This is an old Excel file (.xls) or a workbook locked with a password. {SAVE_AS}")
    if data.startswith(b"%PDF"):
        raise Unreadable(f"This is a PDF, not a spreadsheet. {SAVE_AS}")
    if data.startswith(b"PK\x03\x04"):
        return _workbook(data)
    return [_csv(text_of(data))]


def _workbook(data: bytes) -> list[Sheet]:
    from openpyxl import load_workbook  # slow to import
    from openpyxl.utils.datetime import MAC_EPOCH

    try:
        _prove_xlsx(data)
        book = load_workbook(io.BytesIO(data), read_only=True, data_only=False, keep_links=False)
        epoch = EPOCH_1904 if book.epoch == MAC_EPOCH else EPOCH_1900
        budget = [MAX_CELLS]
        sheets = []
        for sheet in book.worksheets:
            if sheet.sheet_state == "visible":
                sheet.reset_dimensions()
                rows = sheet.iter_rows(max_row=MAX_SHEET_ROW)
                sheets.append(
                    _sheet(sheet.title, (_xlsx_row(sheet.title, row, epoch) for row in rows), budget)
                )
        return sheets
    except DAMAGED as damaged:
        raise Unreadable(f"The workbook cannot be read: it is damaged. {SAVE_AS}") from damaged


def _prove_xlsx(data: bytes) -> None:
    with zipfile.ZipFile(io.BytesIO(data)) as parts:
        names = set(parts.namelist())
        for part, says in OTHER_ZIPS.items():
            if part in names:
                raise Unreadable(f"{says} {SAVE_AS}")
        if "xl/workbook.xml" not in names:
            raise Unreadable(f"This is a ZIP file, not a spreadsheet. {SAVE_AS}")
        # A part never unpacks to more than its declared size, so these sums hold.
        if len(names) > MAX_PARTS or sum(part.file_size for part in parts.infolist()) > MAX_UNPACKED:
            raise Unreadable(
                "The workbook is far too large when unpacked. Keep only the list of homes in it."
            )


def _xlsx_row(title: str, row: Iterable[object], epoch: object) -> Iterator[Cell]:
    from openpyxl.utils import get_column_letter

    for at, cell in enumerate(row, start=1):
        value = getattr(cell, "value", None)
        if value is None:
            yield Cell("")
            continue
        name = f"{title}!{get_column_letter(at)}{cell.row}"  # type: ignore[attr-defined]
        kind = cell.data_type  # type: ignore[attr-defined]
        problem = None
        if kind == "f":
            problem = "holds a formula"
        elif kind == "e":
            problem = f"holds the error {plain(value)}"
        kept = str(getattr(value, "text", value)) if problem else value
        yield Cell(name, kept, problem, epoch)  # type: ignore[arg-type]


def text_of(data: bytes) -> str:
    """The text of a file in UTF-8, UTF-16 or a western one-byte encoding. Raises Unreadable."""
    for mark, encoding in ((b"\xef\xbb\xbf", "utf-8-sig"), (b"\xff\xfe", "utf-16"), (b"\xfe\xff", "utf-16")):
        if data.startswith(mark):
            return _decoded(data, encoding)
    if b"\x00" in data[:4000]:
        return _decoded(data, _utf_16_without_mark(data[:4000]))
    try:
        return _decoded(data, "utf-8")
    except Unreadable:
        from charset_normalizer import from_bytes

        best = from_bytes(data, cp_isolation=["cp1252", "mac_roman"]).best()
        if best is None:
            raise
        return _decoded(data, best.encoding)


def _utf_16_without_mark(head: bytes) -> str:
    """Western text in UTF-16 has a zero in nearly every second byte."""
    for encoding, zeros in (("utf-16-le", head[1::2]), ("utf-16-be", head[::2])):
        if zeros.count(0) * 4 > len(zeros) * 3:
            return encoding
    raise Unreadable(f"This is not a spreadsheet. {SAVE_AS}")


def _decoded(data: bytes, encoding: str) -> str:
    try:
        text = data.decode(encoding)
    except UnicodeDecodeError as bad:
        raise Unreadable(f"This is not text in an encoding we know. {SAVE_AS}") from bad
    if "\x00" in text:
        raise Unreadable(f"This is not a spreadsheet. {SAVE_AS}")
    if text[:500].lstrip().casefold().startswith(("<!doctype", "<html", "<?xml")):
        raise Unreadable(f"This is a web page or XML, whatever its name says. {SAVE_AS}")
    return text


def _csv(text: str) -> Sheet:
    rows = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter_of(text), strict=True)
    try:
        return _sheet("", (_csv_row(at, row) for at, row in enumerate(rows, start=1)), [MAX_CELLS])
    except csv.Error as bad:
        raise Unreadable(
            f"Near line {rows.line_num} a quotation mark is left open or stands inside a cell ({bad}). "
            "Take it out or double it, and upload the file again."
        ) from bad


def _csv_row(number: int, row: list[str]) -> Iterator[Cell]:
    from openpyxl.utils import get_column_letter

    for at, value in enumerate(row, start=1):
        yield Cell(f"{get_column_letter(at)}{number}", value) if value else Cell("")


def delimiter_of(text: str) -> str:
    """What divides the columns: whatever makes most headings known, then most columns."""
    from portfolio.exchange.sheets.headings import known_in

    def promise(delimiter: str) -> tuple[int, int]:
        rows, best = csv.reader(io.StringIO(text[:100_000], newline=""), delimiter=delimiter), (0, 0)
        try:
            for _, row in zip(range(SAMPLE_LINES), rows, strict=False):
                best = max(best, (known_in(row), len(row)))
        except csv.Error:
            return best
        return best

    return max(DELIMITERS, key=promise)


def _sheet(title: str, rows: Iterable[Iterable[Cell]], budget: list[int]) -> Sheet:
    """Keeps the rows that hold something, each cut after its last filled cell. Raises Unreadable over a limit."""
    kept: list[Row] = []
    where = f" in {short(title)}" if title else ""
    for at, row in enumerate(rows, start=1):
        cells = list(row)
        budget[0] -= len(cells) + 1
        while cells and cells[-1].blank:
            cells.pop()
        if len(cells) > MAX_COLUMNS:
            raise Unreadable(
                f"Row {at}{where} has more than {MAX_COLUMNS} columns. Keep only the list of homes."
            )
        if cells:
            kept.append(Row(at, tuple(cells)))
        if len(kept) > MAX_ROWS:
            raise Unreadable(
                f"There are more than {MAX_ROWS:,} rows{where}. Split the file and upload each part."
            )
        if budget[0] < 0:
            raise Unreadable("The sheet is mostly empty cells. Copy the list of homes into a new sheet.")
    return Sheet(title, tuple(kept))
