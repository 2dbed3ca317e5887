"""Tables written as CSV or XLSX in which no cell can run.

Text that a spreadsheet would take for a formula is written to CSV behind an apostrophe and to XLSX as plain
text; `cells.plain` takes the apostrophe off again on the way in.
"""

import csv
import io
import re
from collections.abc import Iterable, Sequence
from datetime import date, datetime

CSV_TYPE = "text/csv; charset=utf-8"
XLSX_TYPE = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"
LONGEST_CELL = 32_767
CUT = " … (cut here: longer than a spreadsheet cell can hold)"
FORMULA_STARTS = re.compile(r"\s*[=+\-@＝＋－＠]|[\t\r\n]")
CONTROL = re.compile(r"[\x00-\x08\x0b\x0c\x0e-\x1f\ud800-\udfff\ufffe\uffff]")
AS_TEXT = "@"
NOT_IN_TITLES = re.compile(r"[\[\]:*?/\\']")


def csv_bytes(headings: Sequence[str], rows: Iterable[Sequence[object]]) -> bytes:
    """A comma-separated file in UTF-8 with a byte order mark, as spreadsheet programs expect it. Dates are ISO."""
    out = io.StringIO(newline="")
    writer = csv.writer(out, quoting=csv.QUOTE_ALL)
    for row in (headings, *rows):
        writer.writerow([_for_csv(value) for value in row])
    return out.getvalue().encode("utf-8-sig")


def xlsx_bytes(headings: Sequence[str], rows: Iterable[Sequence[object]], title: str = "Sheet1") -> bytes:
    """A workbook of one sheet: bold headings that stay in view, real dates and numbers, all text inert."""
    from openpyxl import Workbook  # slow to import, and few pages need it

    book = Workbook(write_only=True)
    fill_sheet(book.create_sheet(sheet_title(title)), headings, rows)
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


def fill_sheet(sheet: object, headings: Sequence[str], rows: Iterable[Sequence[object]]) -> None:
    """Fills a sheet of a write-only openpyxl workbook."""
    from openpyxl.styles import Font
    from openpyxl.utils import get_column_letter

    for at, heading in enumerate(headings, start=1):
        sheet.column_dimensions[get_column_letter(at)].width = max(12, min(40, len(heading) + 4))  # type: ignore[attr-defined]
    sheet.freeze_panes = "A2"  # type: ignore[attr-defined]
    bold = [_for_xlsx(sheet, heading) for heading in headings]
    for cell in filter(None, bold):
        cell.font = Font(bold=True)  # type: ignore[attr-defined]
    sheet.append(bold)  # type: ignore[attr-defined]
    for row in rows:
        sheet.append([_for_xlsx(sheet, value) for value in row])  # type: ignore[attr-defined]


def sheet_title(title: str) -> str:
    """A name a workbook accepts for a sheet: at most 31 characters, none of the forbidden ones."""
    return NOT_IN_TITLES.sub(" ", CONTROL.sub("", title)).strip()[:31].strip() or "Sheet1"


def as_text(value: object) -> str:
    """A value as the words of a cell: nothing for "not recorded", yes or no, ISO dates, lists joined by commas."""
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, date | datetime):
        return value.isoformat()
    if isinstance(value, list | tuple | set | frozenset):
        return ", ".join(as_text(part) for part in value)
    return str(value)


def _for_csv(value: object) -> object:
    if isinstance(value, int | float) and not isinstance(value, bool):
        return value
    text = CONTROL.sub("\N{REPLACEMENT CHARACTER}", as_text(value))
    return f"'{text}" if FORMULA_STARTS.match(text) else text


def _for_xlsx(sheet: object, value: object) -> object:
    from openpyxl.cell import WriteOnlyCell

    if isinstance(value, int | float) and not isinstance(value, bool):
        return WriteOnlyCell(sheet, value)
    if isinstance(value, date) and not isinstance(value, datetime):
        cell = WriteOnlyCell(sheet, value)
        cell.number_format = "dd/mm/yyyy"
        return cell
    text = CONTROL.sub("\N{REPLACEMENT CHARACTER}", as_text(value))
    if len(text) > LONGEST_CELL:
        text = text[: LONGEST_CELL - len(CUT)] + CUT
    if not text:
        return None
    cell = WriteOnlyCell(sheet, text)
    cell.data_type = "s"
    if FORMULA_STARTS.match(text):
        cell.number_format = AS_TEXT
    return cell
