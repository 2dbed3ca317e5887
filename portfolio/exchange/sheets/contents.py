"""Rooms, appliances, alarms and gas results of a row, joined to what is on record so that nothing doubles."""

from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import Any, TypeVar

from portfolio.exchange.sheets.cells import Bad, short
from portfolio.exchange.sheets.lists import AlarmSaid, ApplianceSaid, Place, ResultSaid, RoomSaid
from portfolio.exchange.sheets.values import Said
from portfolio.law import model as law

A = TypeVar("A")
B = TypeVar("B")
GAS = ("gas_boiler", "gas_fire", "gas_cooker", "gas_pipework")
LISTS: dict[str, tuple[str, tuple[str, ...]]] = {
    "rooms": ("rooms", ()),
    "appliances": ("appliances", ()),
    "gas_appliances": ("appliances", GAS),
    "other_appliances": ("appliances", ("oil_boiler", "solid_fuel", "open_fire")),
    "alarms": ("alarms", ()),
    "smoke_alarms": ("alarms", ("smoke",)),
    "heat_alarms": ("alarms", ("heat",)),
    "co_alarms": ("alarms", ("co",)),
}
"""Which list of the record each column speaks of, and of which kinds in it (none given: of all)."""


def contents(row: Said, stored: law.Unit | None) -> dict[str, Any]:
    """`rooms`, `appliances` and `alarms` as the law's facts; None where the row records nothing."""
    found: dict[str, Any] = {"rooms": _rooms(row.get("rooms"), stored)}
    rooms = found["rooms"] if found["rooms"] else (stored.rooms if stored else None) or ()
    for name, makers in (("appliances", _appliances), ("alarms", _alarms)):
        found[name] = makers(row, rooms, stored)
    _none_of_what_is_held(row, stored)
    return found


def _none_of_what_is_held(row: Said, stored: law.Unit | None) -> None:
    """A list said to be empty takes nothing off the record, so the two must not contradict each other."""
    for key, (name, kinds) in LISTS.items():
        held = [one for one in getattr(stored, name, None) or () if not kinds or one.kind in kinds]
        if row.get(key) == () and held:
            wrong = f"says that there are none, but {len(held)} on record"
            row.fault(key, Bad(wrong, "remove them on the page of the home, or leave the cell empty"))


def checks(
    row: Said, key: str, appliances: Sequence[law.Appliance], rooms: Sequence[law.Room]
) -> tuple[law.ApplianceCheck, ...] | None:
    """What a gas result says of each gas appliance; None when there is no result or nothing to tie it to."""
    results: tuple[ResultSaid, ...] | None = row.get(f"{key}.result")
    if not results:
        return None
    gas = [one for one in appliances if one.kind in GAS]
    if not gas:
        row.notes.append(
            f"{row.where[f'{key}.result']}: no gas appliance is on record, so the result is not used"
        )
        return None
    said: dict[str, law.ApplianceCheck] = {}
    for result in results:
        for one in _meant(row, key, result, gas, rooms):
            said[one.ref] = law.ApplianceCheck(one.ref, result.result)
    return tuple(said.values()) or None


def _meant(
    row: Said, key: str, result: ResultSaid, gas: Sequence[law.Appliance], rooms: Sequence[law.Room]
) -> Sequence[law.Appliance]:
    if result.kind is None:
        if result.result in ("safe", "not_tested") or len(gas) == 1:
            return gas
        row.fault(
            f"{key}.result", Bad("does not say which appliance is dangerous", "write boiler ar; hob safe")
        )
        return ()
    room = _room_ref(row, f"{key}.result", result.place, rooms)
    meant = [one for one in gas if one.kind == result.kind and (result.place is None or one.room == room)]
    if len(meant) != 1:
        many = "several such appliances are" if meant else "no such appliance is"
        row.fault(
            f"{key}.result", Bad(f"{many} on record", "name each with its room, as in the list of appliances")
        )
        return ()
    return meant


def pair(said: Sequence[A], stored: Sequence[B], *alike: Callable[[A, B], bool]) -> list[B | None]:
    """For each said thing the stored one it is, each stored one once; closer likeness is tried first."""
    found: list[B | None] = [None] * len(said)
    free = list(stored)
    for like in alike:
        for at, one in enumerate(said):
            if (
                found[at] is None
                and (match := next((item for item in free if like(one, item)), None)) is not None
            ):
                found[at] = match
                free.remove(match)
    return found


def fresh(stem: str, taken: set[str]) -> str:
    """`stem`, or `stem-2`, `stem-3`…: the first that is free; taken from then on."""
    ref, at = stem, 1
    while ref in taken:
        at += 1
        ref = f"{stem}-{at}"
    taken.add(ref)
    return ref


def _rooms(said: tuple[RoomSaid, ...] | None, stored: law.Unit | None) -> tuple[law.Room, ...] | None:
    if not said:
        return None if said is None else ()
    held = (stored.rooms if stored else None) or ()
    taken = {room.ref for room in held}
    pairs = pair(said, held, lambda a, b: (a.use, a.level) == (b.use, b.level), lambda a, b: a.use == b.use)
    return tuple(
        law.Room(was.ref if was else fresh(one.use, taken), one.level, one.use)
        for one, was in zip(said, pairs, strict=True)
    )


def _room_ref(row: Said, key: str, place: Place | None, rooms: Sequence[law.Room]) -> str | None:
    """Ref of the room meant; a fault when it is not on record or could be one of several."""
    if place is None:
        return None
    there = [room.ref for room in rooms if room.use == place.use]
    at = place.at or 1
    if (place.at is None and len(there) > 1) or at > len(there):
        wrong = f"{short(place.use + (f' {place.at}' if place.at else ''))} is not one room on record"
        row.fault(
            key, Bad(wrong, "list the rooms in the column Rooms, and number rooms of one use: bedroom 2")
        )
        return None
    return there[at - 1]


def _appliances(
    row: Said, rooms: Sequence[law.Room], stored: law.Unit | None
) -> tuple[law.Appliance, ...] | None:
    said, key = _appliances_said(row)
    if not said:
        return None if said is None else ()
    held = (stored.appliances if stored else None) or ()
    places = [_room_ref(row, _key_of(row, one, key), one.place, rooms) for one in said]
    placed = list(zip(said, places, strict=True))
    pairs = pair(placed, held, lambda a, b: a[0].kind == b.kind and a[1] == b.room,
                 lambda a, b: a[0].kind == b.kind and (a[1] is None or b.room is None))  # fmt: skip
    taken = {one.ref for one in held}
    return tuple(
        _appliance(one, room, was.ref if was else fresh(one.kind.replace("_", "-"), taken))
        for (one, room), was in zip(placed, pairs, strict=True)
    )


def _appliance(one: ApplianceSaid, room: str | None, ref: str) -> law.Appliance:
    return law.Appliance(ref, one.kind, room, one.owner, one.installed)


def _key_of(row: Said, one: ApplianceSaid, key: str) -> str:
    return (
        "other_appliances" if key == "gas_appliances" and one in (row.get("other_appliances") or ()) else key
    )


def _appliances_said(row: Said) -> tuple[tuple[ApplianceSaid, ...] | None, str]:
    """All appliances a row lists, and the column. Gas alone does not say that nothing else burns fuel."""
    whole, gas, other = row.get("appliances"), row.get("gas_appliances"), row.get("other_appliances")
    if whole is not None:
        if gas or other:
            key = "gas_appliances" if gas else "other_appliances"
            row.fault(
                key, Bad("lists appliances that the column of all appliances lists too", "use one of the two")
            )
        return whole, "appliances"
    if gas is not None and other is not None:
        return gas + other, "gas_appliances"
    if gas is not None or other is not None:
        key, missing = (
            ("gas_appliances", "Oil, solid fuel and open fires")
            if gas is not None
            else ("other_appliances", "Gas appliances")
        )
        note = f"not recorded, for the other fuels are not: fill “{missing}” (none, if there are none)"
        row.notes.append(f"{row.where[key]}: {note}")
    return None, "appliances"


def _alarms(row: Said, rooms: Sequence[law.Room], stored: law.Unit | None) -> tuple[law.Alarm, ...] | None:
    lists = {key: row.get(key) for key in ("alarms", "smoke_alarms", "heat_alarms", "co_alarms")}
    if all(said is None for said in lists.values()):
        return None
    if lists["alarms"] is not None and (also := next((key for key in list(lists)[1:] if lists[key]), None)):
        row.fault(also, Bad("lists alarms that the column of all alarms lists too", "use one of the two"))
        return None
    placed: list[tuple[AlarmSaid, str | None]] = [
        (one, _room_ref(row, key, one.place, rooms)) for key, said in lists.items() for one in said or ()
    ]
    if not placed and lists["alarms"] is None and lists["smoke_alarms"] is None:
        key = next(key for key, said in lists.items() if said is not None)
        row.notes.append(f"{row.where[key]}: not recorded, for nothing is said about smoke alarms")
        return None
    held = (stored.alarms if stored else None) or ()
    pairs = pair(placed, held, lambda a, b: a[0].kind == b.kind and a[1] == b.room,
                 lambda a, b: a[0].kind == b.kind and (a[1] is None or b.room is None))  # fmt: skip
    taken = {one.ref for one in held}
    return tuple(_alarm(one, room, was, taken) for (one, room), was in zip(placed, pairs, strict=True))


def _alarm(one: AlarmSaid, room: str | None, was: law.Alarm | None, taken: set[str]) -> law.Alarm:
    before = (was.tested if was else None) or ()
    tested = tuple(sorted({*before, one.tested})) if one.tested else None
    ref = was.ref if was else fresh("-".join(filter(None, (one.kind, room))), taken)
    made = law.Alarm(ref, one.kind, room, one.power, one.interlinked, one.working, one.replace_by)
    return replace(made, tested=tested)
