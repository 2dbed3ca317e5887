"""What one row says, thing by thing: cells read by the kind of their column, with every fault and note."""

import re
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import date
from functools import partial
from typing import Any

from django.core.exceptions import ValidationError
from django.core.validators import validate_email

from portfolio.exchange.faults import Fault
from portfolio.exchange.sheets import cells, lists
from portfolio.exchange.sheets.cells import Bad, Cell, plain, short
from portfolio.exchange.sheets.headings import Column, columns, table
from portfolio.exchange.sheets.table import Line

POSTCODE = re.compile(r"([A-Z]{1,2}\d[A-Z\d]?) ?(\d[A-Z]{2})")
VACANT = frozenset(("vacant", "empty", "void"))
LONGEST_REF, LONGEST_TEXT = 100, 200
FREE = ("text", "address")
"""Kinds kept word for word, whatever they start with."""
ABSENT = object()
"""What a reader gives for a cell that records nothing after all; the note beside it says why."""
Reader = Callable[[Cell], tuple[Any, str | None]]


@dataclass(slots=True)
class Said:
    """The recorded things of one row by column, where each stood, what is wrong, and what is worth knowing."""

    line: Line
    values: dict[str, Any] = field(default_factory=dict)
    where: dict[str, str] = field(default_factory=dict)
    faults: list[Fault] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)

    @property
    def place(self) -> str:
        """Name of the row's first filled cell, for what concerns the whole row."""
        return next(cell.name for cell in self.line.raw if not cell.blank)

    def get(self, key: str) -> Any:
        return self.values.get(key)

    def fault(self, key: str, bad: Bad) -> None:
        self.faults.append(Fault(self.where.get(key, self.place), bad.wrong, bad.cure))


def said(line: Line, today: date) -> Said:
    """Read every used cell of a row. Never raises: what is wrong is in `faults`."""
    row = Said(line)
    for key, found in line.cells.items():
        recorded = [cell for cell in found if cells.is_recorded(cell)]
        if recorded:
            row.where[key] = recorded[0].name
            _read(row, columns()[key], recorded, today)
    return row


def _read(row: Said, column: Column, found: list[Cell], today: date) -> None:
    results = []
    for cell in found:
        try:
            value, note = _value(column, cell)
            _not_ahead(column.key, value, today)
        except Bad as bad:
            row.faults.append(Fault(cell.name, bad.wrong, bad.cure))
            continue
        if note:
            row.notes.append(f"{cell.name}: {note}")
        if value is not ABSENT:
            results.append((value, cell))
    if results:
        row.values[column.key] = results[0][0]
    for value, cell in results[1:]:
        if value != results[0][0]:
            wrong = (
                f"“{column.title}” differs from {results[0][1].name}, which is a column for the same thing"
            )
            row.faults.append(Fault(cell.name, wrong, "make the two equal, or take one column out"))


def _value(column: Column, cell: Cell) -> tuple[Any, str | None]:
    if cell.problem:
        raise Bad(cell.problem, "paste its value in its place")
    kind, _, codes = column.kind.partition(":")
    if kind not in FREE and plain(cell.value).startswith("="):
        raise Bad(f"holds a formula as text ({short(plain(cell.value))})", "write its value in its place")
    if codes:
        if cells.says_none(cell) and plain(cell.value).casefold() not in table(codes):
            return ABSENT, "“none” is taken as not recorded"
        return cells.code(cell, table(codes), f"a word for “{column.title}”"), None
    if kind == "text" and column.key.endswith(".number"):
        return _short_text(cell, LONGEST_REF), None
    return READERS[kind](cell)


def _not_ahead(key: str, value: Any, today: date) -> None:
    """A day on which something was done cannot lie ahead."""
    done: list[date | None] = []
    if isinstance(value, date) and key.endswith((".inspected", ".registered", ".applied")):
        done.append(value)
    if isinstance(value, tuple):
        done += [one.tested for one in value if isinstance(one, lists.AlarmSaid)]
    for on in done:
        if on is not None and on > today:
            wrong = f"{on:%-d %b %Y} lies in the future, but it is a day of something done"
            raise Bad(wrong, "correct the day")


def _free(cell: Cell) -> tuple[Any, str | None]:
    """Names and addresses: kept whatever they start with; they are written out inert."""
    if cells.says_none(cell):
        return ABSENT, "“none” is taken as not recorded"
    return _fitting(cells.printable(plain(cell.value)), LONGEST_TEXT), None


def _short_text(cell: Cell, longest: int) -> str:
    return _fitting(cells.inert(cells.printable(plain(cell.value))), longest)


def _fitting(text: str, longest: int) -> str:
    if len(text) > longest:
        raise Bad(f"is {len(text)} characters long", f"shorten it to {longest}")
    return text


def _address(cell: Cell) -> tuple[tuple[str, ...], None]:
    parts = (plain(part) for line in cells.lines(cell.value) for part in line.split(","))
    return tuple(_fitting(cells.printable(part), LONGEST_TEXT) for part in parts if part), None


def _postcode(cell: Cell) -> tuple[str, None]:
    text = plain(cell.value)
    found = POSTCODE.fullmatch(text.upper())
    if not found:
        raise Bad(f"{short(text)} is not a whole postcode", "write both halves, or leave it empty")
    return f"{found[1]} {found[2]}", None


def _email(cell: Cell) -> tuple[str, None]:
    text = plain(cell.value).removeprefix("mailto:")
    try:
        validate_email(text)
    except ValidationError as bad:
        raise Bad(f"{short(text)} is not an e-mail address", "write one address, or leave it empty") from bad
    return _fitting(text, 254).lower(), None


def _date(cell: Cell) -> tuple[Any, str | None]:
    if cells.says_none(cell):
        return ABSENT, "“none” is taken as not recorded"
    return cells.day(cell)


def _tenancy(cell: Cell) -> tuple[Any, str | None]:
    """A first day, or () for a home that stands empty."""
    if cells.says_none(cell) or plain(cell.value).casefold() in VACANT:
        return (), None
    return cells.day(cell)


def _list(reader: Callable[[Cell], tuple[Any, ...]], what: str, cell: Cell) -> tuple[Any, str | None]:
    """() where the cell says that there are none; a bare yes says too little to record."""
    if cells.says_none(cell):
        return (), None
    if plain(cell.value).casefold() in cells.YES:
        return ABSENT, f"“yes” does not say which {what} and where, so nothing is recorded"
    return reader(cell), None


def _defects(cell: Cell) -> tuple[Any, str | None]:
    """() where the cell says that none is open. A defect needs its code and its day, so it has a page of its own."""
    if cells.says_none(cell):
        return (), None
    cure = "write none here only if none is open; record each open one on the page of the home"
    raise Bad(f"speaks of a defect ({short(plain(cell.value))})", cure)


READERS: dict[str, Reader] = {
    "ref": lambda cell: (_short_text(cell, LONGEST_REF), None),
    "text": _free,
    "address": _address,
    "postcode": _postcode,
    "email": _email,
    "date": _date,
    "tenancy": _tenancy,
    "yes": lambda cell: (cells.yes_no(cell), None),
    "year": lambda cell: (cells.whole_number(cell, 1000, 2199), None),
    "count": lambda cell: (cells.whole_number(cell, 0, 9999), None),
    "number": lambda cell: (cells.number(cell, 999), None),
    "rooms": partial(_list, lists.rooms, "rooms"),
    "appliances": partial(_list, partial(lists.appliances, gas=False), "appliances"),
    "gas_appliances": partial(_list, partial(lists.appliances, gas=True), "appliances"),
    "alarms": partial(_list, lists.alarms, "alarms"),
    "smoke_alarms": partial(_list, partial(lists.alarms, kind="smoke"), "alarms"),
    "heat_alarms": partial(_list, partial(lists.alarms, kind="heat"), "alarms"),
    "co_alarms": partial(_list, partial(lists.alarms, kind="co"), "alarms"),
    "defects": _defects,
    "gas_result": lambda cell: (lists.gas_results(cell), None),
}
