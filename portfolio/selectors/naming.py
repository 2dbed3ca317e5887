"""What the things of a home are called in plain words, by their refs."""

from collections.abc import Iterable
from datetime import date
from typing import Any

from portfolio import words
from portfolio.law import model as law


def home_name(building: law.Building, unit: law.Unit) -> str:
    """What a home is called, as its record calls it."""
    there = building.name or building.ref
    return f"{unit.label}, {there}" if unit.label else there


def paper_day(paper: Any) -> date | None:
    """The day a paper is known by: inspected, registered, issued or, still undecided, applied for."""
    return paper.inspected or paper.registered or paper.issued or paper.applied


def paper_words(paper: Any) -> str:
    """A paper in words: its kind and its day."""
    kind, day = words.CERTIFICATE[paper.kind], paper_day(paper)
    return f"{kind}, {day.day} {day:%b %Y}" if day else f"{kind}, day not recorded"


def names_of(unit: law.Unit) -> dict[str, str]:
    """Plain words for each ref within a home. A ref used in two lists keeps the first meaning."""
    rooms = {room.ref: words.ROOM_USE.get(room.use or "", room.ref) for room in unit.rooms or ()}

    def placed(thing: law.Appliance | law.Alarm, table: dict[str, str]) -> str:
        kind = table.get(thing.kind or "", thing.ref)
        return f"{kind}, {rooms[thing.room].lower()}" if thing.room in rooms else kind

    pairs: Iterable[tuple[str, str]] = (
        *((paper.ref, paper_words(paper)) for paper in unit.certificates or ()),
        *((defect.ref, defect.title or words.CODE[defect.code]) for defect in unit.defects or ()),
        *((one.ref, placed(one, words.APPLIANCE)) for one in unit.appliances or ()),
        *((one.ref, placed(one, words.ALARM)) for one in unit.alarms or ()),
        *(
            (one.ref, f"Tenancy from {one.starts:%-d %b %Y}" if one.starts else "Tenancy")
            for one in unit.tenancies or ()
        ),
        *rooms.items(),
    )
    names: dict[str, str] = {}
    for ref, name in pairs:
        names.setdefault(ref, name)
    return names
