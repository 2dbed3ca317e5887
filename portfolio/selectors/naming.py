"""What the things of a home are called in plain words, by their refs."""

from collections import Counter, defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from typing import Any

from portfolio import words
from portfolio.law import model as law
from portfolio.models import Room


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


@dataclass(frozen=True, slots=True)
class RoomName:
    """What a room is called: `short` within its home, `full` with its storey."""

    short: str
    full: str


def room_names(rooms: Iterable[Any]) -> list[RoomName]:
    """What each of the rooms of one home is called, in the order in which they came on record.

    Those of one use are numbered in that order, whatever their storeys; one taken out since has no number.
    """
    listed = list(rooms)
    there = [bool(room.use) and getattr(room, "removed", None) is None for room in listed]
    alike = Counter(room.use for room, counts in zip(listed, there, strict=True) if counts)
    seen: Counter[str] = Counter()
    names = []
    for room, counts in zip(listed, there, strict=True):
        seen[room.use] += counts
        number = seen[room.use] if counts and alike[room.use] > 1 else 0
        said = [words.room(room.use, level, room.ref, number) for level in (None, room.level)]
        names.append(RoomName(*said))
    return names


def rooms_called(unit_ids: Iterable[int]) -> dict[int, RoomName]:
    """What the rooms of these homes are called, by their ids. One query."""
    by_unit: dict[int, list[Room]] = defaultdict(list)
    for room in Room.objects.filter(unit__in=set(unit_ids)).order_by("pk"):
        by_unit[room.unit_id].append(room)
    return {
        room.pk: name
        for rooms in by_unit.values()
        for room, name in zip(rooms, room_names(rooms), strict=True)
    }


def room_called(room: Room) -> str:
    """What one room is called, with its storey."""
    return rooms_called([room.unit_id])[room.pk].full


def names_of(unit: law.Unit) -> dict[str, str]:
    """Plain words for each ref within a home. A ref used in two lists keeps the first meaning."""
    listed = unit.rooms or ()
    rooms = {room.ref: name.short for room, name in zip(listed, room_names(listed), strict=True)}

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
