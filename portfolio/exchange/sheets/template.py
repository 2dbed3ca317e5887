"""The blank list to fill: our headings, and in the workbook a sheet of notes and lists to choose from."""

import io
from typing import Any

from portfolio.exchange.sheets.headings import CODES, Column, columns
from portfolio.exchange.sheets.write import csv_bytes, fill_sheet

LAST_ROW = 5_000
KINDS = {
    "date": "a day: 3 Apr 2026 or 03/04/2026, the day first",
    "tenancy": "a day: 3 Apr 2026; or none",
    "yes": "yes or no",
    "year": "a year: 1968",
    "count": "a whole number",
    "number": "a number",
    "email": "one e-mail address",
    "postcode": "the whole postcode",
    "ref": "any text, up to 100 characters",
    "text": "any text",
    "address": "lines parted by commas",
    "gas_result": "safe; or boiler safe; hob ar",
}
NOTES = (
    ("Not known?", "Leave the cell empty or the column out; N/A, tbc, unknown and ? say the same: not recorded."),
    ("none", "In a column that holds a list, the word none records that there are none."),
    ("Days", "The day comes first, always. A day that could be read two ways is refused, never guessed."),
    ("Years of two figures", "00 to 79 are read as 2000 to 2079, 80 to 99 as 1980 to 1999."),
    ("Formulas", "Paste their values: a cell with a formula is refused."),
    ("Merged cells", "Only their first row is read. Write the value into every row."),
    ("Lists in one cell", "Semicolons part the items, as in 0: hall, living, kitchen; 1: landing, 2 bedroom"),
    ("Several rooms of one use", "Number them in the order of the list: smoke landing 1 mains; smoke landing 2 mains"),
    ("One row for each home", "The same list can be uploaded again: what is on record already is left as it is."),
)  # fmt: skip


def blank_csv() -> bytes:
    return csv_bytes([column.title for column in columns().values()], [])


def blank_xlsx() -> bytes:
    from openpyxl import Workbook

    book = Workbook()
    homes: Any = book.active
    homes.title = "Homes"
    fill_sheet(homes, [column.title for column in columns().values()], [])
    for at, column in enumerate(columns().values(), start=1):
        _help_filling(homes, at, column)
    notes = book.create_sheet("How to fill it")
    rows = [(column.title, what_to_write(column), column.note) for column in columns().values()]
    fill_sheet(notes, ("About", "What to know", ""), [*((*note, "") for note in NOTES), ("", "", ""), *rows])
    for letter, width in (("A", 34), ("B", 60), ("C", 90)):
        notes.column_dimensions[letter].width = width
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


def what_to_write(column: Column) -> str:
    """How a cell of the column is written, in a few words."""
    kind, _, codes = column.kind.partition(":")
    return ", ".join(CODES[codes].values()) if codes else KINDS.get(kind, "a list; see the example")


def _help_filling(sheet: Any, at: int, column: Column) -> None:
    """Lists to choose from, and cells that show days as days. A word outside the list may still be typed."""
    from openpyxl.utils import get_column_letter
    from openpyxl.worksheet.datavalidation import DataValidation

    letter = get_column_letter(at)
    kind, _, codes = column.kind.partition(":")
    choices = list(CODES[codes].values()) if codes else ["yes", "no"] if kind == "yes" else []
    if choices:
        listed = DataValidation(type="list", formula1=f'"{",".join(choices)}"', allow_blank=True)
        listed.showErrorMessage = False
        sheet.add_data_validation(listed)
        listed.add(f"{letter}2:{letter}{LAST_ROW}")
    if kind in ("date", "tenancy"):
        sheet.column_dimensions[letter].number_format = "dd/mm/yyyy"
