"""The kinds of value a portfolio file holds.

Each kind says three things of itself, side by side so that they cannot drift apart: its JSON Schema, how it
is read (strictly, collecting faults) and how it is written. A value that cannot be read is `None` after its
fault has been noted; the caller throws everything away when there is any fault.
"""

import json
import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from difflib import get_close_matches
from typing import Any, Protocol

from portfolio.exchange.faults import Fault, child

JsonObject = dict[str, Any]

UNPRINTABLE = r"[\u0000-\u0008\u000b\u000c\u000e-\u001f\u007f\ud800-\udfff]"
"""What no database keeps: control characters other than tab and line breaks, and halves of characters."""
DAY_PATTERN = "^((19|20|21)[0-9][0-9]|2200)-[0-9][0-9]-[0-9][0-9]$"


class Kind(Protocol):
    def schema(self) -> JsonObject: ...

    def read(self, value: Any, path: str, faults: list[Fault]) -> Any: ...

    def write(self, value: Any) -> Any: ...


def shown(value: Any) -> str:
    """A value as it stands in the file, in a few words."""
    if isinstance(value, list | dict):
        return "a list" if isinstance(value, list) else "an object"
    cut = isinstance(value, str) and len(value) > 60
    return json.dumps(value[:57] + "…" if cut else value, ensure_ascii=False)


def nearest(word: Any, words: Iterable[str]) -> str | None:
    """The known word that a mistyped one most resembles."""
    if not isinstance(word, str):
        return None
    by_lower = {known.lower(): known for known in words}
    near = get_close_matches(word[:60].lower(), by_lower, 1)
    return by_lower[near[0]] if near else None


def listed(words: Iterable[str], most: int = 30) -> str:
    """The words as a phrase, saying how many were left out when there are too many to read."""
    every = list(words)
    more = f" and {len(every) - most} more" if len(every) > most else ""
    return ", ".join(every[:most]) + more


@dataclass(frozen=True)
class Text:
    """Unicode text of at most `longest` characters. A `name` stands for something, so it is not blank."""

    longest: int
    name: bool = False

    def schema(self) -> JsonObject:
        shape: JsonObject = {"type": "string", "maxLength": self.longest}
        if self.name:
            shape["pattern"] = r"\S"
        return shape | {"not": {"type": "string", "pattern": UNPRINTABLE}}

    def read(self, value: Any, path: str, faults: list[Fault]) -> str | None:
        if not isinstance(value, str):
            faults.append(Fault(path, f"{shown(value)} is not text", "put it in double quotes"))
        elif len(value) > self.longest:
            too_long = f"the text has {len(value)} characters, more than the {self.longest} allowed"
            faults.append(Fault(path, too_long, "shorten it"))
        elif re.search(UNPRINTABLE, value):
            unkept = "the text holds a character that cannot be kept"
            faults.append(Fault(path, unkept, "take out control characters"))
        elif self.name and not re.search(r"\S", value):
            faults.append(Fault(path, "it is blank", "give it at least one letter or digit"))
        else:
            return value
        return None

    def write(self, value: str) -> str:
        return value


@dataclass(frozen=True)
class PointsTo(Text):
    """The ref of a row in one of the named lists: of the same home, or of the whole file."""

    longest: int = 100
    name: bool = True
    lists: tuple[str, ...] = ()
    of_file: bool = False


@dataclass(frozen=True)
class Number:
    """A number from `least` to `most`; whole unless `whole` is false."""

    least: int
    most: int
    whole: bool = True

    def schema(self) -> JsonObject:
        return {"type": "integer" if self.whole else "number", "minimum": self.least, "maximum": self.most}

    def read(self, value: Any, path: str, faults: list[Fault]) -> float | None:
        wanted = "whole number" if self.whole else "number"
        if isinstance(value, bool) or not isinstance(value, int | float):
            faults.append(Fault(path, f"{shown(value)} is not a number", f"write a {wanted} without quotes"))
        elif not self.least <= value <= self.most:
            wrong = f"{shown(value)} is outside {self.least} to {self.most}"
            faults.append(Fault(path, wrong, f"write a {wanted} from {self.least} to {self.most}"))
        elif self.whole and value != int(value):
            faults.append(Fault(path, f"{shown(value)} is not a whole number", f"write a {wanted}"))
        else:
            return int(value) if self.whole else float(value)
        return None

    def write(self, value: float) -> float:
        return value


@dataclass(frozen=True)
class YesNo:
    def schema(self) -> JsonObject:
        return {"type": "boolean"}

    def read(self, value: Any, path: str, faults: list[Fault]) -> bool | None:
        if isinstance(value, bool):
            return value
        cure = "write true or false without quotes, or null when it is not recorded"
        faults.append(Fault(path, f"{shown(value)} is neither true nor false", cure))
        return None

    def write(self, value: bool) -> bool:
        return value


@dataclass(frozen=True)
class Day:
    """A calendar day from 1900 to 2200, `YYYY-MM-DD`."""

    def schema(self) -> JsonObject:
        return {"type": "string", "format": "date", "pattern": DAY_PATTERN}

    def read(self, value: Any, path: str, faults: list[Fault]) -> date | None:
        if isinstance(value, str):
            if (day := as_day(value)) is not None:
                return day
            if re.fullmatch("[0-9]{4}-[0-9]{2}-[0-9]{2}", value):
                cure = "write a day of the calendar between 1900-01-01 and 2200-12-31"
                faults.append(Fault(path, f"there is no day {value}, or none we can work with", cure))
                return None
        cure = "write it as YYYY-MM-DD, such as 2026-11-25"
        faults.append(Fault(path, f"{shown(value)} is not a date", cure))
        return None

    def write(self, value: date) -> str:
        return value.isoformat()


class TimeOfDay:
    """A time of day, `HH:MM`, 00:00 to 23:59."""

    PATTERN = "^([01][0-9]|2[0-3]):[0-5][0-9]$"

    def schema(self) -> JsonObject:
        return {"type": "string", "pattern": self.PATTERN}

    def read(self, value: Any, path: str, faults: list[Fault]) -> str | None:
        if isinstance(value, str) and re.fullmatch(self.PATTERN[1:-1], value):
            return value
        faults.append(Fault(path, f"{shown(value)} is not a time of day", "write it as HH:MM, such as 17:30"))
        return None

    def write(self, value: str) -> str:
        return value


def as_day(text: Any) -> date | None:
    """The day a text names in the file's own form, or None."""
    if not isinstance(text, str) or len(text) != 10 or not re.match(DAY_PATTERN, text):
        return None
    try:
        return date.fromisoformat(text)
    except ValueError:
        return None


@dataclass(frozen=True)
class OneOf:
    words: tuple[str, ...]

    def schema(self) -> JsonObject:
        return {"type": "string", "enum": list(self.words)}

    def read(self, value: Any, path: str, faults: list[Fault]) -> str | None:
        if isinstance(value, str) and value in self.words:
            return value
        near = nearest(value, self.words)
        cure = f"did you mean {near}? Known here: " if near else "write one of: "
        faults.append(Fault(path, f"{shown(value)} is not known here", cure + listed(self.words)))
        return None

    def write(self, value: str) -> str:
        return value


@dataclass(frozen=True)
class ListOf:
    """A list, in the order of the file. Empty means "there are none"; absent means "not recorded"."""

    item: Kind
    most: int

    def schema(self) -> JsonObject:
        return {"type": "array", "items": self.item.schema(), "maxItems": self.most}

    def read(self, value: Any, path: str, faults: list[Fault]) -> tuple[Any, ...] | None:
        if not isinstance(value, list):
            faults.append(Fault(path, f"{shown(value)} is not a list", "put the items between [ and ]"))
            return None
        if len(value) > self.most:
            wrong = f"the list has {len(value)} items, more than the {self.most} allowed"
            faults.append(Fault(path, wrong, "split the file, or see whether rows were repeated by mistake"))
            return None
        return tuple(self.item.read(item, child(path, i), faults) for i, item in enumerate(value))

    def write(self, value: Sequence[Any]) -> list[Any]:
        return [self.item.write(item) for item in value]
