"""What the page for editing a home's facts starts from."""

from dataclasses import dataclass
from typing import Any

from portfolio import words
from portfolio.facts import Facts, facts_of
from portfolio.models import Landlord, Unit

BLANK_ROWS = 3


@dataclass(frozen=True)
class Editable:
    facts: Facts
    landlords: list[tuple[str, str]]
    fresh: dict[str, list[str]]
    """Refs for new rooms, appliances and alarms, none of them ever used in this home."""
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
    rooms = [
        (room.ref, words.room(room.use, room.level, f"Room {room.ref}")) for room in facts[1].rooms or ()
    ]
    rooms += [(ref, f"New room, blank line {at}") for at, ref in enumerate(fresh["rooms"], start=1)]
    landlords = (
        Landlord.objects.filter(agency=unit.agency_id).order_by("name", "ref").values_list("ref", "name")
    )
    neighbours = Unit.objects.filter(building=unit.building_id).exclude(pk=unit.pk).count()
    return Editable(facts, list(landlords), fresh, rooms, neighbours)


def fresh_refs(rows: Any, word: str) -> list[str]:
    """The refs that the next few new things will have."""
    taken = set(rows.values_list("ref", flat=True))
    numbers = (n for n in range(1, len(taken) + BLANK_ROWS + 1) if f"{word}-{n}" not in taken)
    return [f"{word}-{next(numbers)}" for _ in range(BLANK_ROWS)]
