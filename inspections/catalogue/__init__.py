"""Typical defects of a home as data: what it usually is called, its usual code, who mends it and by what work.

They suggest; the code that the inspector gives is the fact. Each TOML file holds one group, with what its entries have
in common at the top. Regulation numbers are of the edition named with them. May use the standard library and
`portfolio.law`.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

from portfolio.law.model import CODES
from portfolio.law.packfile import LIST, TABLE, TEXT, Place, check_keys, one_of, toml

FOLDER = Path(__file__).parent
MOST_TITLE = 120
_HEAD = {"group": TEXT, "scheme": TEXT, "trade": TEXT, "basis": TEXT, "review": TEXT, "defects": TABLE}
_ENTRY = {"title": TEXT, "remedy": TEXT, "work": TEXT}
_ENTRY_MORE = {
    "code": TEXT, "unless": TEXT, "regulation": TEXT, "scheme": TEXT, "trade": TEXT, "cautions": LIST,
    "basis": TEXT, "review": TEXT,
}  # fmt: skip


@dataclass(frozen=True)
class Typical:
    id: str
    group: str
    """Where or what it is about, in words."""
    title: str
    scheme: str
    code: str
    """The usual one; empty when there usually is none."""
    unless: str
    """When it is another one, in words; may be empty."""
    regulation: str
    """Numbers usually cited; empty where no standard is."""
    edition: str
    """The edition the numbers are of; empty without numbers."""
    trade: str
    """Who usually mends it, a code of `words.TRADE`."""
    remedy: str
    work: str
    """The usual work, a code of `paperwork.WORKS`."""
    cautions: tuple[str, ...]
    """Keys of `cautions.toml`."""
    basis: str
    """What the entry rests on."""
    review: str
    """Who should look at the entry before it is relied upon."""

    @property
    def suspected(self) -> bool:
        """Is it recorded as suspected, as only a registered gas engineer may class it?"""
        return self.trade == "gas" and self.scheme != "igem_g11"


@cache
def typical() -> Mapping[str, Typical]:
    """Every typical defect by its id, in the order of the files. Raises `PackError` for the first fault found."""
    return read(FOLDER)


def read(folder: Path) -> dict[str, Typical]:
    """The typical defects of a folder. Raises `PackError` naming the file, the id, the key and the cure."""
    found: dict[str, Typical] = {}
    titles: dict[str, str] = {}
    for file in sorted(folder.glob("*.toml")):
        place, data = Place(file), toml(file)
        check_keys(place, data, _HEAD, {"edition": TEXT})
        for name, entry in data["defects"].items():
            where = place / "defects" / name
            one = _entry(where, name, entry, data)
            if name in found:
                raise where.fault("this id is used twice", "Give each defect its own id.")
            if one.title.casefold() in titles:
                raise (where / "title").fault(
                    f"is the title of {titles[one.title.casefold()]} too", "Say how they differ."
                )
            found[name] = one
            titles[one.title.casefold()] = name
    if not found:
        raise Place(folder / "*.toml").fault("no typical defects", "Put at least one file there.")
    return found


def _entry(where: Place, name: str, entry: object, head: Mapping[str, Any]) -> Typical:
    if not isinstance(entry, dict):
        raise where.fault("not a table", "Write title, remedy and work under it.")
    check_keys(where, entry, _ENTRY, _ENTRY_MORE)
    scheme = one_of(where / "scheme", entry.get("scheme", head["scheme"]), tuple(CODES))
    code = entry.get("code", "")
    if code:
        one_of(where / "code", code, CODES[scheme])
    elif "unless" not in entry:
        raise (where / "code").fault("missing, and nothing says when there is one", "Add code or unless.")
    if len(entry["title"]) > MOST_TITLE:
        raise (where / "title").fault(
            f"longer than {MOST_TITLE} characters", "Say it shorter; details go elsewhere."
        )
    numbers = entry.get("regulation", "")
    if numbers and "edition" not in head:
        raise (where / "regulation").fault("of which edition?", "Add edition at the top of the file.")
    return Typical(
        id=name,
        group=head["group"],
        title=entry["title"],
        scheme=scheme,
        code=code,
        unless=entry.get("unless", ""),
        regulation=numbers,
        edition=head["edition"] if numbers else "",
        trade=entry.get("trade", head["trade"]),
        remedy=entry["remedy"],
        work=entry["work"],
        cautions=tuple(entry.get("cautions", ())),
        basis=entry.get("basis", head["basis"]),
        review=entry.get("review", head["review"]),
    )
