"""Which column holds what: the known headings, their other spellings, and the words cells may use."""

import re
import tomllib
import unicodedata
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

from portfolio import words
from portfolio.exchange.sheets.cells import plain

SOURCE = Path(__file__).with_name("headings.toml")
CODES = {
    "nation": words.NATION,
    "dwelling": words.DWELLING,
    "landlord": words.LANDLORD,
    "letting": words.LETTING,
    "outcome": words.OUTCOME,
    "rating": words.RATING,
    "exemption": words.EXEMPTION,
    "room": words.ROOM_USE,
    "appliance": words.APPLIANCE,
    "gas_appliance": words.APPLIANCE,
    "alarm": words.ALARM,
    "power": words.POWER,
    "gas_result": words.APPLIANCE_RESULT,
}


@dataclass(frozen=True, slots=True)
class Column:
    """One thing a column may hold. `kind` says how its cells are read."""

    key: str
    title: str
    kind: str
    note: str


@cache
def _source() -> dict[str, Any]:
    return tomllib.loads(SOURCE.read_text(encoding="utf-8"))


@cache
def columns() -> dict[str, Column]:
    """Every known column by its key, in the order of the template."""
    return {
        key: Column(key, entry["title"], entry["kind"], entry.get("note", ""))
        for key, entry in _source()["columns"].items()
    }


def simplified(heading: str) -> str:
    """A heading reduced to what it says: lower case, no punctuation, usual abbreviations written out."""
    text = unicodedata.normalize("NFKC", heading).casefold().replace("e-mail", "email")
    text = re.sub(r"['’]s\b", "", text)
    replace, skip = _source()["words"], set(_source()["skip"]["words"])
    parts = (replace.get(word, word) for word in re.findall(r"[^\W_]+", text))
    return " ".join(word for word in parts if word not in skip)


@cache
def _known() -> dict[str, str]:
    known: dict[str, str] = {}
    for key, entry in _source()["columns"].items():
        for name in (entry["title"], *entry.get("names", ())):
            said = simplified(name)
            if known.setdefault(said, key) != key:
                raise ValueError(f"headings.toml: {name!r} of {key} already means {known[said]}")
    return known


@cache
def column_of(heading: str) -> Column | None:
    """The column a heading stands for, or None when we do not know it."""
    key = _known().get(simplified(heading))
    return columns()[key] if key else None


def known_in(row: Iterable[object]) -> int:
    """How many different columns a row names, were it a row of headings."""
    found = {column_of(text) for text in map(plain, row) if 0 < len(text) <= 80}
    return len(found - {None})


def resolve(row: Sequence[str], above: Sequence[str]) -> list[Column | None]:
    """The column of each heading; one that means nothing alone ("Expiry") is read with the group above it."""
    found: list[Column | None] = []
    group = ""
    for at, heading in enumerate(row):
        group = (above[at] if at < len(above) else "") or group
        found.append(column_of(heading) or (column_of(f"{group} {heading}") if heading and group else None))
    return found


@cache
def table(name: str) -> dict[str, str]:
    """Words a cell may use for a code, each mapped to it: the code, our own label, and the other words listed."""
    codes = CODES[name]
    own = {code.casefold().replace("_", " "): code for code in codes}
    labels = {re.sub(r"[^\w]+", " ", label.casefold()).strip(): code for code, label in codes.items()}
    return labels | own | _source()["cells"].get(name, {})
