"""The agency's old list of homes, written for a day as a workbook and as CSV, with every bad habit it has."""

import csv
import io
import re
import tomllib
from collections.abc import Callable, Mapping
from datetime import date
from functools import cache
from pathlib import Path
from typing import Any

from portfolio.demo.days import TOLD, day_told

FILE = Path(__file__).resolve().parents[2] / "fixtures" / "lettings_list.toml"
EXCEL_DAY_0 = date(1899, 12, 30)
_WRITTEN = re.compile(TOLD.pattern[:-2] + r"\|([^}]+)\}")
_ENDING = {1: "st", 2: "nd", 3: "rd", 21: "st", 22: "nd", 23: "rd", 31: "st"}
WAYS: Mapping[str, Callable[[date], Any]] = {
    "date": lambda day: day,
    "serial": lambda day: (day - EXCEL_DAY_0).days,
    "iso": date.isoformat,
    "d/m/yy": lambda day: f"{day.day}/{day.month}/{day:%y}",
    "dd.mm.yyyy": lambda day: f"{day:%d.%m.%Y}",
    "d Mon yyyy": lambda day: f"{day.day} {day:%b %Y}",
    "dth Month yyyy": lambda day: f"{day.day}{_ENDING.get(day.day, 'th')} {day:%B %Y}",
}
"""How a day may be written in a cell."""


def write_into(folder: Path, on: date) -> list[Path]:
    """Write both files into the folder, over older ones; returns their paths, the workbook first."""
    folder.mkdir(parents=True, exist_ok=True)
    for path, content in zip(paths_in(folder), (workbook(on), csv_text(on)), strict=True):
        path.write_bytes(content)
    return paths_in(folder)


def paths_in(folder: Path) -> list[Path]:
    """Where both files go in a folder."""
    return [folder / f"{_list()['name']}.{ending}" for ending in ("xlsx", "csv")]


def workbook(on: date) -> bytes:
    """The list as XLSX: merged titles, real dates beside dates as text, a formula."""
    from openpyxl import Workbook

    told = _list()
    book = Workbook()
    page = book.active
    assert page is not None
    page.title = told["sheet"]
    for at, title in enumerate(told["titles"], start=1):
        page.append([_cell(title, on)])
        page.merge_cells(start_row=at, start_column=1, end_row=at, end_column=len(told["headings"]))
    page.append([])
    page.append(told["headings"])
    below = page.max_row + 1
    for row in told["rows"]:
        page.append([_cell(text, on) or None for text in row])
    for found in (cell for row in page.iter_rows(min_row=below) for cell in row if cell.is_date):
        found.number_format = "dd/mm/yyyy"
    kept = io.BytesIO()
    book.save(kept)
    return kept.getvalue()


def csv_text(on: date) -> bytes:
    """The list as a spreadsheet set up for another country saves it: semicolons, old Windows encoding."""
    told = _list()
    kept = io.StringIO(newline="")
    writer = csv.writer(kept, delimiter=";")
    writer.writerows([_as_text(_cell(title, on))] for title in told["titles"])
    writer.writerow([])
    writer.writerow(told["headings"])
    writer.writerows([_as_text(_cell(text, on)) for text in row] for row in told["rows"])
    return kept.getvalue().encode("cp1252")


@cache
def _list() -> dict[str, Any]:
    return tomllib.loads(FILE.read_text(encoding="utf-8"))


def _cell(text: str, on: date) -> Any:
    """A text with its days written out; a cell that is one day alone may be a date or a number."""

    def written(found: re.Match[str]) -> Any:
        day = day_told(f"{{{found[1]}{found[2]}}}", {"today": on})
        assert day is not None
        return WAYS[found[3]](day)

    whole = _WRITTEN.fullmatch(text)
    return written(whole) if whole else _WRITTEN.sub(lambda found: str(written(found)), text)


def _as_text(value: object) -> str:
    return f"{value:%d/%m/%Y}" if isinstance(value, date) else str(value)
