"""The list of homes inside a sheet: where its headings are, which rows are homes, and which are passed over."""

import re
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass

from portfolio.exchange.sheets.cells import Cell, is_recorded, plain, short
from portfolio.exchange.sheets.headings import Column, known_in, resolve
from portfolio.exchange.sheets.read import Row, Sheet, Unreadable

HEADINGS_WITHIN = 40
IDENTIFYING = ("ref", "label", "building", "address", "address1")
SUMS = re.compile(
    r"(grand |sub[- ]?)?totals?\b|count\b|sum\b|notes?\b|key\b|printed\b|page \d", re.IGNORECASE
)


@dataclass(frozen=True, slots=True)
class Line:
    """One home's row: its number in the sheet and its filled cells by column."""

    number: int
    cells: dict[str, tuple[Cell, ...]]
    raw: tuple[Cell, ...]


@dataclass(frozen=True, slots=True)
class Passed:
    """A row that is no home, and why we think so."""

    number: int
    text: str
    why: str


@dataclass(frozen=True, slots=True)
class Table:
    title: str
    headings: tuple[str, ...]
    used: tuple[tuple[str, Column], ...]
    """(heading as written, what it was taken for), in the order of the sheet."""
    unused: tuple[str, ...]
    lines: tuple[Line, ...]
    passed: tuple[Passed, ...]


def table_of(sheets: Sequence[Sheet]) -> Table:
    """The one list of homes in a file. Raises Unreadable when there is none, or more than one."""
    found = [(sheet, at) for sheet in sheets if (at := heading_row(sheet)) is not None]
    if not found:
        raise Unreadable(
            "No row of headings was found that names a home (Home ref, Building, Flat or Address) and at least one "
            "other thing we know. Start from the blank list, or put our headings over your columns."
        )
    if len(found) > 1:
        titles = " and ".join(short(sheet.title) for sheet, _ in found)
        raise Unreadable(
            f"The workbook holds more than one list of homes: {titles}. Upload them one at a time."
        )
    return _table(*found[0])


def heading_row(sheet: Sheet) -> int | None:
    """Index of the row of headings: of the first rows the one that names most columns, one of them a home's."""
    best, at = 1, None
    for index, row in enumerate(sheet.rows[:HEADINGS_WITHIN]):
        texts = _texts(row)
        if sum(map(bool, texts)) < 2:
            continue
        columns = _columns(sheet, index)
        keys = {column.key for column in columns if column}
        if len(keys) > best and keys & set(IDENTIFYING):
            best, at = len(keys), index
    return at


def _columns(sheet: Sheet, index: int) -> list[Column | None]:
    above = sheet.rows[index - 1] if index else None
    adjacent = above is not None and above.number == sheet.rows[index].number - 1
    return resolve(_texts(sheet.rows[index]), _texts(above) if above and adjacent else ())


def _texts(row: Row) -> list[str]:
    return [plain(cell.value) for cell in row.cells]


def _table(sheet: Sheet, at: int) -> Table:
    headings, columns = _texts(sheet.rows[at]), _columns(sheet, at)
    width = max(len(row.cells) for row in sheet.rows[at:])
    headings += [""] * (width - len(headings))
    columns += [None] * (width - len(columns))
    lines, passed = [], [_passed(row, "stands above the headings") for row in sheet.rows[:at]]
    for row in sheet.rows[at + 1 :]:
        cells = _by_column(row, columns)
        why = _why_no_home(row, headings, cells)
        if why:
            passed.append(_passed(row, why))
        else:
            lines.append(Line(row.number, cells, row.cells))
    used = tuple((text, column) for text, column in zip(headings, columns, strict=True) if column)
    filled = {i for row in sheet.rows[at:] for i, cell in enumerate(row.cells) if not cell.blank}
    unused = tuple(
        text or "(a column without a heading)"
        for i, (text, column) in enumerate(zip(headings, columns, strict=True))
        if column is None and i in filled
    )
    return Table(sheet.title, tuple(headings), used, unused, tuple(lines), tuple(passed))


def _by_column(row: Row, columns: Sequence[Column | None]) -> dict[str, tuple[Cell, ...]]:
    cells: dict[str, list[Cell]] = defaultdict(list)
    for cell, column in zip(row.cells, columns, strict=False):
        if column and not cell.blank:
            cells[column.key].append(cell)
    return {key: tuple(found) for key, found in cells.items()}


def _why_no_home(row: Row, headings: Sequence[str], cells: dict[str, tuple[Cell, ...]]) -> str | None:
    filled = [cell for cell in row.cells if not cell.blank]
    texts = _texts(row)
    same = sum(1 for text, heading in zip(texts, headings, strict=False) if text and text == heading)
    if same >= 2 and same * 2 >= len(filled):
        return "repeats the headings"
    if SUMS.match(plain(filled[0].value)) and known_in(texts) < 2:
        return "a total or a note"
    if len(filled) == 1 and len([text for text in headings if text]) > 2:
        return "only one cell is filled"
    if not any(is_recorded(cell) for found in cells.values() for cell in found):
        return "nothing in a column we use"
    return None


def _passed(row: Row, why: str) -> Passed:
    return Passed(row.number, " | ".join(text for text in _texts(row) if text)[:300], why)
