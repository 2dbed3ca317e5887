"""Smoke, heat and carbon monoxide alarms room by room, all smoke and heat alarms linked: Scotland, Northern Ireland.

Scotland: Housing (Scotland) Act 1987 s.86 as amended by SSI 2019/8. Northern Ireland: SR 2024/123.
"""

from datetime import date

from ..dates import AsOn
from ..home import Home
from ..lawbook import Finding, Topic
from ..model import ALARMS, Appliance, Reason, Room
from .alarm_places import Asked, Places, by_burners, covered, judged, no_use, places_of, worn_out
from .alarms import has_time, start_tests, told
from .registry import rule
from .scope import NOT_APPLICABLE, THOUGHT_OUTSIDE, landlord_doubt, letting_doubt, no_list, weighed

_NEEDS = {
    "living_uses": list, "circulation_uses": list, "kitchen_uses": list, "powers": list, "co_appliances": list,
}  # fmt: skip
_FIRE_NEEDS = _NEEDS | {"landlords": list, "outside_lettings": list, "fires": list, "running_from": date}


@rule(_NEEDS)
def each_room(home: Home, law: Topic, on: AsOn) -> Finding:
    """Every home, let or lived in by its owner: the tolerable standard, s.86(1)(fa) and (fb)."""
    places = places_of(home)
    if places is None:
        return no_list(law, "rooms" if home.rooms is None else "alarms")
    problems = _rooms(home, law, on, places, ())
    return judged(problems, worn_out(law, on, places.alarms, ALARMS))


@rule(_FIRE_NEEDS)
def each_room_let(home: Home, law: Topic, on: AsOn) -> Finding:
    """Private tenancies; an alarm past its day has to be replaced, reg 3(4)(c); heat for smoke by a fire, reg 3(2)."""
    if _is_outside(home, law, on):
        return THOUGHT_OUTSIDE if home.unit.landlord != "registered_provider" else NOT_APPLICABLE
    doubts = landlord_doubt(home, law) + letting_doubt(home, law)
    places = places_of(home)
    if places is None:
        return weighed(no_list(law, "rooms" if home.rooms is None else "alarms"), doubts)
    problems = _rooms(home, law, on, places, law.words("fires", on))
    found = judged([*problems, *worn_out(law, on, places.alarms, ALARMS)])
    if found.problems and has_time(home, law, on, "running_from"):
        found = found._replace(continuing=False)
    return weighed(found, doubts)


def _is_outside(home: Home, law: Topic, on: AsOn) -> bool:
    landlord = home.unit.landlord
    if landlord is not None and landlord not in law.words("landlords", on):
        return True
    return home.unit.letting.kind in law.words("outside_lettings", on)


@rule(_FIRE_NEEDS | {"start_test": bool, "tested_kinds": list}, duties=("test_on_start",))
def test_duties(home: Home, law: Topic, on: AsOn) -> Finding:
    """Every alarm in working order at the beginning of a new tenancy, reg 3(4)(a): tested on its first day."""
    if not home.unit.tenancies or _is_outside(home, law, on):
        return Finding()
    return told(home, law, on, start_tests(home, law, on, law.begins))


def _rooms(home: Home, law: Topic, on: AsOn, places: Places, fires: tuple[str, ...]) -> list[Reason]:
    """What is missing room by room; beside one of these fires a heat alarm may stand in for a smoke alarm."""
    rooms = tuple(places.rooms.values())
    smoke = Asked(("smoke",), "", law.words("powers", on), linked=True)
    beside = smoke._replace(kinds=("smoke", "heat"))
    by_fire = {one.room for one in home.appliances or () if one.kind in fires and _is_in(one, on)}
    asked = {room.ref: beside if room.ref in by_fire else smoke for room in rooms}
    living = [room for room in rooms if room.use in law.words("living_uses", on)]
    kitchens = [room for room in rooms if room.use in law.words("kitchen_uses", on)]
    problems = [no_use(law, room) for room in rooms if room.use is None]
    problems += _living(law, places, living, asked)
    for room in rooms:
        if room.use in law.words("circulation_uses", on):
            problems += _in_room(law, places, room, asked[room.ref])
    for room in kitchens:
        problems += _in_room(law, places, room, smoke._replace(kinds=("heat",)))
    if not kitchens:
        problems.append(law.unrecorded("rooms.use", "which room is the kitchen"))
    return problems + by_burners(home, law, on, places)


def _is_in(appliance: Appliance, on: AsOn) -> bool:
    return appliance.installed is None or on.reached(appliance.installed)


def _living(law: Topic, places: Places, living: list[Room], asked: dict[str, Asked]) -> list[Reason]:
    """The living room most used: nobody recorded which that is, so that one of them has to have its alarm."""
    if not living:
        return [law.unrecorded("rooms.use", "which room is the living room")]
    lacks = [_in_room(law, places, room, asked[room.ref]) for room in living]
    return min(lacks, key=lambda reasons: (any(one.kind != "unknown" for one in reasons), len(reasons)))


def _in_room(law: Topic, places: Places, room: Room, asked: Asked) -> list[Reason]:
    says = (
        f"There is no working {' or '.join(asked.kinds)} alarm in the {room.use} that is linked to the others and"
        " runs on the mains or on a sealed battery."
    )
    return covered(law, places, places.in_room(room), asked._replace(says=says), room.ref)
