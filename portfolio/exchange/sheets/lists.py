"""Cells that hold a list: rooms, alarms, appliances, gas results, each in a short way of writing.

An item is what the sheet says of one thing; which record it is, is decided later beside what is stored.
"""

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import date
from typing import TypeVar

from portfolio.exchange.sheets.cells import WRITE_A_DAY, Bad, Cell, day_in_text, lines, short
from portfolio.exchange.sheets.headings import table

MAX_ITEMS = 60
Said = TypeVar("Said")
LEVELS = {
    "ground": 0,
    "g": 0,
    "gf": 0,
    "basement": -1,
    "lower ground": -1,
    "b": -1,
    "first": 1,
    "second": 2,
    "third": 3,
}
DAY = re.compile(r"\d{4}-\d{1,2}-\d{1,2}|\d{1,2}[/.-]\d{1,2}[/.-]\d{2,4}", re.ASCII)
FLAGS = {
    "not interlinked": ("interlinked", False),
    "interlinked": ("interlinked", True),
    "linked": ("interlinked", True),
    "not working": ("working", False),
    "faulty": ("working", False),
    "working": ("working", True),
}


@dataclass(frozen=True, slots=True)
class RoomSaid:
    """`at` counts the rooms of the same use, from 1, over the whole home."""

    level: int
    use: str
    at: int


@dataclass(frozen=True, slots=True)
class Place:
    """A room by its use, and by its number among those where it was given."""

    use: str
    at: int | None


@dataclass(frozen=True, slots=True)
class AlarmSaid:
    kind: str
    place: Place | None = None
    power: str | None = None
    interlinked: bool | None = None
    working: bool | None = None
    replace_by: date | None = None
    tested: date | None = None


@dataclass(frozen=True, slots=True)
class ApplianceSaid:
    kind: str
    place: Place | None = None
    owner: str | None = None
    installed: date | None = None


@dataclass(frozen=True, slots=True)
class ResultSaid:
    """`kind` None: the result of every gas appliance."""

    kind: str | None
    place: Place | None
    result: str


def rooms(cell: Cell) -> tuple[RoomSaid, ...]:
    """`0: hall, living, kitchen; 1: landing, 2 bedroom, bathroom`. Raises Bad."""
    said: list[RoomSaid] = []
    for group in _items(cell):
        found = re.fullmatch(r"(?:floor |level |storey )?([^:=]+?)(?: floor)?\s*[:=]\s*(.+)", group)
        if not found:
            raise Bad(
                f"{short(group)} names no storey", "write 0: hall, living; 1: bedroom (0 is the ground floor)"
            )
        level = _level(found[1])
        for item in re.split(r"[,+&]", found[2]):
            count, use = _counted(item.strip())
            before = sum(1 for room in said if room.use == use)
            said += [RoomSaid(level, use, before + n) for n in range(1, count + 1)]
    return _few(said)


def alarms(cell: Cell, kind: str | None = None) -> tuple[AlarmSaid, ...]:
    """`smoke hall mains interlinked working tested 2026-11-01; co kitchen sealed battery`. Raises Bad."""
    return _few([_alarm(item, kind) for item in _items(cell)])


def appliances(cell: Cell, *, gas: bool) -> tuple[ApplianceSaid, ...]:
    """`gas boiler kitchen landlord 2019-06-03; gas hob kitchen`; in a gas column `boiler` is enough. Raises Bad."""
    return _few([_appliance(item, gas) for item in _items(cell)])


def gas_results(cell: Cell) -> tuple[ResultSaid, ...]:
    """`safe`, or `boiler safe; hob ar`. Raises Bad."""
    results = table("gas_result")
    said = []
    for item in _items(cell):
        words = Words(item)
        kind = words.take(table("appliance") | table("gas_appliance"))
        place = _place(words)
        result = words.take(results)
        words.end(result is not None, "an appliance and its result: boiler safe")
        said.append(ResultSaid(kind, place, result or ""))
    if len(said) > 1 and any(one.kind is None for one in said):
        raise Bad("gives several results without saying of which appliance", "write boiler safe; hob ar")
    return _few(said)


class Words:
    """The words of one item, taken off from the front, longest phrase first."""

    def __init__(self, item: str) -> None:
        self.item = item
        self.rest = re.sub(r"[(),]|\bin the\b|\balarms?\b|\broom(?= \d)", " ", item)
        self.rest = " ".join(self.rest.replace("-battery", " battery").split())

    def take(self, phrases: Mapping[str, str]) -> str | None:
        for phrase in sorted(phrases, key=len, reverse=True):
            if self.rest == phrase or self.rest.startswith(f"{phrase} "):
                self.rest = self.rest[len(phrase) :].strip()
                return phrases[phrase]
        return None

    def number(self) -> int | None:
        found = re.match(r"(\d{1,2})(?= |$)", self.rest, re.ASCII)
        if found:
            self.rest = self.rest[found.end() :].strip()
        return int(found[1]) if found else None

    def day(self) -> date | None:
        found = DAY.match(self.rest)
        if not found:
            return None
        self.rest = self.rest[found.end() :].strip()
        return day_in_text(found[0])[0]

    def end(self, complete: bool, expected: str) -> None:
        """Raises Bad unless everything was understood."""
        if not self.rest and complete:
            return
        what, _, example = expected.partition(": ")
        wrong = f"{short(self.item)} is not {what} we know"
        if complete:
            wrong = f"in {short(self.item)}, {short(self.rest)} is not understood"
        raise Bad(wrong, f"write {what} as {example}")


def _items(cell: Cell) -> list[str]:
    """The items of a cell, parted by semicolons or lines, in lower case."""
    parts = (part for line in lines(cell.value) for part in line.split(";"))
    return [part.strip().casefold() for part in parts if part.strip()]


def _few(said: list[Said]) -> tuple[Said, ...]:
    if not 0 < len(said) <= MAX_ITEMS:
        raise Bad(f"lists {len(said)} things", f"list between 1 and {MAX_ITEMS}")
    return tuple(said)


def _level(text: str) -> int:
    text = text.strip()
    if text in LEVELS:
        return LEVELS[text]
    if re.fullmatch(r"-?\d{1,2}", text, re.ASCII):
        return int(text)
    raise Bad(
        f"{short(text)} is not a storey", "write its number: 0 for the ground floor, 1 above it, -1 below"
    )


def _counted(item: str) -> tuple[int, str]:
    uses = table("room")
    found = re.fullmatch(r"(?:(\d{1,2}) ?x? )?(.+?)", item, re.ASCII)
    word = found[2] if found else item
    use = uses.get(word) or uses.get(word.removesuffix("s"))
    count = int(found[1]) if found and found[1] else 1
    if use is None or not 1 <= count <= MAX_ITEMS:
        known = ", ".join(sorted(set(uses.values())))
        raise Bad(f"{short(item)} is not a room we know", f"write one of: {known}")
    return count, use


def _place(words: Words) -> Place | None:
    use = words.take(table("room"))
    return Place(use, words.number()) if use else None


def _alarm(item: str, kind: str | None) -> AlarmSaid:
    words = Words(item)
    kind = words.take({"smoke": "smoke", "heat": "heat", "carbon monoxide": "co", "co": "co"}) or kind
    place = _place(words)
    said: dict[str, object] = {}
    for name, value in _alarm_facts(words):
        if said.setdefault(name, value) != value:
            raise Bad(f"{short(item)} says two things about one alarm", "part the alarms with a semicolon")
    words.end(kind is not None, "an alarm: smoke hall mains working tested 2026-11-01")
    return AlarmSaid(kind or "", place, **said)  # type: ignore[arg-type]


def _alarm_facts(words: Words) -> Iterator[tuple[str, object]]:
    while words.rest:
        if power := words.take(table("power")):
            yield "power", power
        elif flag := words.take({phrase: phrase for phrase in FLAGS}):
            yield FLAGS[flag]
        elif dated := words.take({"tested": "tested", "replace by": "replace_by", "expires": "replace_by"}):
            on = words.day()
            if on is None:
                raise Bad(f"{short(words.item)} gives no day after {dated.replace('_', ' ')}", WRITE_A_DAY)
            yield dated, on
        else:
            return


def _appliance(item: str, gas: bool) -> ApplianceSaid:
    words = Words(item)
    kind = words.take(table("appliance") | table("gas_appliance") if gas else table("appliance"))
    place = _place(words)
    owner = words.take(
        {"tenant's": "tenant", "tenant": "tenant", "landlord's": "landlord", "landlord": "landlord"}
    )
    words.take({"installed": "", "fitted": ""})
    installed = words.day()
    expected = "an appliance: boiler kitchen landlord 2019-06-03"
    words.end(kind is not None, expected if gas else expected.replace(": boiler", ": gas boiler"))
    return ApplianceSaid(kind or "", place, owner, installed)
