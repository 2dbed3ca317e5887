"""The observations of a report as they are pasted or typed: one a line, or as rows of a table.

Taken are rows copied from a table (cells parted by tabs), lines parted by semicolons or commas, and text copied from a
PDF, where a row may run over several lines. The class may stand first or last, or anywhere in a table. Everything
that is written is kept: what is neither class, text nor place is the number of the item.
"""

import csv
import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

MOST = 200
"""Observations taken at once."""
MOST_TEXT, MOST_PLACE = 300, 200
"""Characters, as they are stored."""
_ITEM = re.compile(r"(?:item\s*)?(?:no\.?\s*)?([0-9]{1,3}(?:\.[0-9]{1,3}){0,4})[.)]?", re.IGNORECASE)
_LED = re.compile(r"([0-9]{1,3}(?:\.[0-9]{1,3}){0,4})[.)]?\s+(?=\S)")
_HEADINGS = {
    "code": {"code", "class", "classification", "classification code", "category"},
    "says": {
        "observation",
        "observations",
        "description",
        "defect",
        "finding",
        "what",
        "what is wrong",
        "details",
    },
    "place": {"location", "where", "room", "circuit", "place", "db/circuit", "location reference"},
    "item": {"item", "no", "no.", "item no", "item no.", "number", "ref", "#"},
}


@dataclass(frozen=True)
class Observation:
    """One observation, or what is wrong with a line. `line`: where it begins, counted from 1."""

    line: int
    code: str = ""
    says: str = ""
    place: str = ""
    item: str = ""
    """Its number in the report."""
    fault: str = ""
    """What is wrong and how to cure it; empty when nothing is."""


@dataclass(frozen=True)
class _Codes:
    """Spellings of the codes of a scheme."""

    by_spelling: dict[str, str]

    @classmethod
    def of(cls, codes: Iterable[str]) -> "_Codes":
        found = {}
        for code in codes:
            for spelling in (code, f"code {code}", f"({code})", f"{code}.", f"{code}:"):
                found[spelling.casefold()] = code
            if re.fullmatch(r"C[0-9]", code):
                found |= {f"code {code[1]}": code, f"c {code[1]}": code}
        if "FI" in found.values():
            found |= dict.fromkeys(("f/i", "f.i.", "further investigation"), "FI")
        return cls(found)

    def read(self, cell: str) -> str:
        """The code a cell holds and nothing else; empty when it holds none."""
        return self.by_spelling.get(" ".join(cell.split()).casefold(), "")

    def first(self, line: str) -> tuple[str, str]:
        """The code a line begins with and the rest; two empty texts when it begins with none."""
        return self._split(line, r"\s*({})(?=[\s,;:–-])[\s,;:–-]*(.*)", 1, 2)

    def last(self, line: str) -> tuple[str, str]:
        """The code a line ends with, and what is before it."""
        return self._split(line, r"(.*?)(?:^|[\s,;:–-])[\s,;:–-]*({})\s*", 2, 1)

    def _split(self, line: str, shape: str, code: int, rest: int) -> tuple[str, str]:
        spellings = "|".join(re.escape(one) for one in sorted(self.by_spelling, key=len, reverse=True))
        found = re.fullmatch(shape.format(spellings), line, re.IGNORECASE | re.DOTALL)
        return (self.read(found[code]), found[rest].strip()) if found else ("", "")


def read(text: str, codes: Sequence[str]) -> list[Observation]:
    """The observations of a pasted text, in their order; faulty lines say what is wrong with them.

    `codes`: those of the scheme of the report.
    """
    known = _Codes.of(codes)
    lines = [(number, line.strip(" \r\n")) for number, line in enumerate(_with_ends(text), start=1)]
    lines = [(number, line) for number, line in lines if line.strip()]
    of = _of_table if any("\t" in line for _, line in lines) else _of_lines
    found = of(lines, known, codes)
    if len(found) > MOST:
        return [Observation(found[MOST].line, fault=f"More than {MOST} at once. Take them in several parts.")]
    return [_checked(one) for one in found]


def _with_ends(text: str) -> list[str]:
    """The lines, whatever ends them; other signs that may end a line stay within it."""
    return text.replace("\r\n", "\n").replace("\r", "\n").split("\n")


def _of_table(lines: list[tuple[int, str]], known: _Codes, codes: Sequence[str]) -> list[Observation]:
    rows = [(number, [" ".join(cell.split()) for cell in line.split("\t")]) for number, line in lines]
    order = _headings(rows[0][1])
    if order:
        rows = rows[1:]
    return [_of_cells(number, cells, known, codes, order) for number, cells in rows]


def _headings(cells: list[str]) -> dict[int, str]:
    """What each column holds, when the row is one of headings."""
    order: dict[int, str] = {}
    for place, cell in enumerate(cells):
        for what, spellings in _HEADINGS.items():
            if cell.casefold() in spellings and what not in order.values():
                order[place] = what
    return order if {"code", "says"} <= set(order.values()) else {}


def _of_cells(
    number: int, cells: Sequence[str], known: _Codes, codes: Sequence[str], order: dict[int, str]
) -> Observation:
    """One row: by its headings, or else the class is the cell that holds one, and text and place follow each other."""
    if order:
        told = {what: cells[place] if place < len(cells) else "" for place, what in order.items()}
        code = known.read(told["code"])
        rest = [cell for place, cell in enumerate(cells) if place not in order and cell]
        place = ", ".join([part for part in (told.get("place", ""), *rest) if part])
        fault = "" if code else _no_class(codes, told["code"])
        return Observation(number, code, told["says"], place, told.get("item", ""), fault)
    filled = [cell for cell in cells if cell.strip()]
    at = [place for place, cell in enumerate(filled) if known.read(cell)]
    if not at:
        return Observation(number, says=" ".join(filled), fault=_no_class(codes))
    if len(at) > 1:
        return Observation(number, says=" ".join(filled), fault="More than one class in this row. Keep one.")
    code = known.read(filled.pop(at[0]))
    item = ""
    if len(filled) > 1 and (numbered := _ITEM.fullmatch(filled[0])):
        item = numbered[1]
        filled.pop(0)
    return Observation(number, code, filled[0] if filled else "", ", ".join(filled[1:]), item)


def _of_lines(lines: list[tuple[int, str]], known: _Codes, codes: Sequence[str]) -> list[Observation]:
    """Lines parted by signs, one for each observation; or the text of a PDF, whose rows run over several lines.

    In such a text the class stands first in the row, or else last in it.
    """
    if any(_of_parts(number, line, known) for number, line in lines):
        return [_of_line(number, line, known) or _nobodys([(number, line)], codes) for number, line in lines]
    found: list[Observation] = []
    waiting: list[tuple[int, str]] = []
    leads = any(known.first(_numbered(line)[1])[0] for _, line in lines)
    for number, line in lines:
        one = _of_line(number, line, known)
        if one is None and leads and found:
            found[-1] = replace(found[-1], says=f"{found[-1].says} {line}".strip())
        elif one is None:
            waiting.append((number, line))
        else:
            if leads and waiting:
                found.append(_nobodys(waiting, codes))
            found.append(one if leads else _after(waiting, one))
            waiting = []
    return [*found, _nobodys(waiting, codes)] if waiting else found


def _of_parts(number: int, line: str, known: _Codes) -> Observation | None:
    """A line parted by signs whose first or last part is a class; None when it is no such line."""
    item, rest = _numbered(line)
    parts = _parts(rest)
    for at in (0, -1):
        if len(parts) > 1 and (code := known.read(parts[at])):
            others = parts[1:] if at == 0 else parts[:-1]
            return Observation(number, code, others[0], ", ".join(others[1:]), item)
    return None


def _numbered(line: str) -> tuple[str, str]:
    """The number of the item that a line begins with, if it does, and the rest."""
    led = _LED.match(line)
    return (led[1], line[led.end() :]) if led else ("", line)


def _of_line(number: int, line: str, known: _Codes) -> Observation | None:
    """One line that holds a class first or last; None when it holds none there."""
    if parted := _of_parts(number, line, known):
        return parted
    item, rest = _numbered(line)
    for code, said in (known.first(rest), known.last(rest)):
        if code:
            return Observation(number, code, said, "", item)
    return Observation(number, known.read(rest), "", "", item) if known.read(rest) else None


def _parts(line: str) -> list[str]:
    """The cells of a line parted by semicolons, or else by commas; quotes hold a cell together."""
    sign = ";" if ";" in line else ","
    cells = next(csv.reader([line], delimiter=sign, skipinitialspace=True), [])
    return [cell.strip() for cell in cells if cell.strip()]


def _after(lines: list[tuple[int, str]], one: Observation) -> Observation:
    """The observation with the lines before it, which its text begins with."""
    if not lines:
        return one
    own = f"{one.item} {one.says}".strip()  # a number that begins the last line belongs to the text
    item, text = _numbered(" ".join(line for _, line in lines))
    return replace(one, line=lines[0][0], says=f"{text} {own}".strip(), item=item)


def _nobodys(lines: list[tuple[int, str]], codes: Sequence[str]) -> Observation:
    return Observation(lines[0][0], says=" ".join(line for _, line in lines), fault=_no_class(codes))


def _no_class(codes: Sequence[str], said: str = "") -> str:
    cure = f"Write one of {', '.join(codes)} first or last."
    return f"‘{said}’ is no class of this report. {cure}" if said else f"No class. {cure}"


def _checked(one: Observation) -> Observation:
    fault = one.fault
    if not fault and not one.says:
        fault = "No text. Write what was observed beside its class."
    elif not fault and len(one.says) > MOST_TEXT:
        fault = f"The text has {len(one.says)} characters; {MOST_TEXT} are the most. Say it shorter."
    elif not fault and len(one.place) > MOST_PLACE:
        fault = f"The place has {len(one.place)} characters; {MOST_PLACE} are the most. Say it shorter."
    return replace(one, fault=fault)
