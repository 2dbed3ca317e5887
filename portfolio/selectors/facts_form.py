"""What the page for editing a home's facts starts from."""

from dataclasses import dataclass
from typing import Any

from portfolio.facts import Facts, facts_of
from portfolio.law import model as law
from portfolio.models import Landlord, Unit
from portfolio.selectors.naming import room_names

BLANK_ROWS = 3


@dataclass(frozen=True)
class Editable:
    facts: Facts
    landlords: list[tuple[str, str]]
    fresh: dict[str, list[str]]
    """Refs for new rooms, appliances and alarms, none of them ever used in this home."""
    rooms_found: tuple[law.Room, ...]
    """Rooms on record, as a visit found them, while nobody has said that they are all; else none."""
    rooms: list[tuple[str, str]]
    """Ref and words of each room there is, and of the blank rows that may become one."""
    neighbours: int
    """Other homes in the same building, whose facts change with it."""


def editable(unit: Unit) -> Editable:
    facts = facts_of([unit.pk])[unit.pk]
    fresh = {
        name: fresh_refs(getattr(unit, name), word)
        for name, word in (("rooms", "room"), ("appliances", "appliance"), ("alarms", "alarm"))
    }
    found = () if unit.rooms_listed else _rooms(unit)
    there = facts[1].rooms or found
    rooms = [
        (room.ref, name.full if room.use else f"Room {name.full}")
        for room, name in zip(there, room_names(there), strict=True)
    ]
    rooms += [(ref, f"New room, blank line {at}") for at, ref in enumerate(fresh["rooms"], start=1)]
    landlords = (
        Landlord.objects.filter(agency=unit.agency_id).order_by("name", "ref").values_list("ref", "name")
    )
    neighbours = Unit.objects.filter(building=unit.building_id).exclude(pk=unit.pk).count()
    return Editable(facts, list(landlords), fresh, found, rooms, neighbours)


def _rooms(unit: Unit) -> tuple[law.Room, ...]:
    there = unit.rooms.filter(removed=None).order_by("pk")
    return tuple(law.Room(room.ref, room.level, room.use) for room in there)


def fresh_refs(rows: Any, word: str) -> list[str]:
    """The refs that the next few new things will have."""
    taken = set(rows.values_list("ref", flat=True))
    numbers = (n for n in range(1, len(taken) + BLANK_ROWS + 1) if f"{word}-{n}" not in taken)
    return [f"{word}-{next(numbers)}" for _ in range(BLANK_ROWS)]
