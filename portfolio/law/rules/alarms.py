"""Smoke and carbon monoxide alarms in rented homes in England (SI 2015/1693 as amended by SI 2022/707)."""

from collections.abc import Iterable
from datetime import date
from typing import NamedTuple

from ..dates import AsOn, day_after
from ..home import Home
from ..lawbook import Finding, Topic
from ..model import Alarm, Appliance, Reason, Room, State
from .duties import duty, reported
from .licensing import explained, needed
from .registry import rule
from .scope import NOT_APPLICABLE, is_settled, landlord_doubt, letting_doubt, no_list, weighed

_NEEDS = {"living_uses": list, "co_appliances": list, "social_from": date, "outside_lettings": list}
_READS = ("eng_hmo_licence",)


class Places(NamedTuple):
    """The rooms of a home by ref, and its alarms."""

    rooms: dict[str, Room]
    alarms: tuple[Alarm, ...]

    def level(self, alarm: Alarm) -> int | None:
        room = self.rooms.get(alarm.room or "")
        return room.level if room else None


@rule(_NEEDS, reads=_READS)
def smoke_and_co(home: Home, law: Topic, on: AsOn) -> Finding:
    """A smoke alarm on each storey lived on, a CO alarm in each room lived in with a burner; reg 4(1)(a).

    A gas cooker asks for none. Where a licence is needed its conditions govern instead (reg 2(1)).
    """
    if _is_outside(home, law, on):
        return NOT_APPLICABLE
    need = needed(home, law.shelf["eng_hmo_licence"], on)
    if need.shared or need.selective:
        return NOT_APPLICABLE
    found = _fitted(home, law, on)
    asked = need.first_doubts if is_settled(found) else need.doubts
    doubts = explained(law, asked) + landlord_doubt(home, law) + letting_doubt(home, law)
    return weighed(found, tuple(dict.fromkeys(doubts)))


def _is_outside(home: Home, law: Topic, on: AsOn) -> bool:
    """Sch 1: shared with the landlord, long leases; registered providers until they were brought in."""
    landlord = home.unit.landlord
    if landlord == "resident" or home.unit.letting.kind in law.words("outside_lettings", on):
        return True
    return landlord == "registered_provider" and not on.reached(law.day("social_from", on))


def _fitted(home: Home, law: Topic, on: AsOn) -> Finding:
    if home.rooms is None or home.alarms is None:
        return no_list(law, "rooms" if home.rooms is None else "alarms")
    places = Places({room.ref: room for room in home.rooms}, home.alarms)
    problems = _smoke(law, on, places)
    if home.appliances is None:
        problems.append(law.unrecorded("appliances", "the list of appliances, even if it is empty"))
    for appliance in home.appliances or ():
        problems += _co(law, on, places, appliance)
    problems = list(dict.fromkeys(problems))
    state = State.UNKNOWN if problems else State.MET
    if any(r.kind != "unknown" for r in problems):
        state = State.NOT_MET
    return Finding(state, problems=tuple(problems), warnings=_worn_out(law, on, home.alarms))


def _smoke(law: Topic, on: AsOn, places: Places) -> list[Reason]:
    """Storey by storey. A room whose use or storey is not recorded may be one that asks for an alarm."""
    uses = law.words("living_uses", on)
    lived_in = [room for room in places.rooms.values() if room.use in uses]
    if not lived_in:
        return [law.unrecorded("rooms", "the rooms that are lived in")]
    levels = {room.level for room in lived_in}
    problems = [_no_level(law, room) for room in lived_in if room.level is None]
    for level in sorted(level for level in levels if level is not None):
        there = (a for a in places.alarms if places.level(a) in (level, None))
        says = f"There is no working smoke alarm on storey {level}."
        problems += _covered(law, places, there, "smoke", says, None)
    for room in places.rooms.values():
        if room.use is None and (room.level is None or room.level not in levels):
            there = (a for a in places.alarms if room.level is not None and places.level(a) == room.level)
            if not any(a.kind == "smoke" and a.working for a in there):
                problems.append(_no_use(law, room))
    return problems


def _no_use(law: Topic, room: Room) -> Reason:
    return law.unrecorded("rooms.use", "what the room is used for", of=room.ref)


def _no_level(law: Topic, room: Room) -> Reason:
    return law.unrecorded("rooms.level", "which storey the room is on", of=room.ref)


def _co(law: Topic, on: AsOn, places: Places, appliance: Appliance) -> list[Reason]:
    """The alarm one appliance asks for, whoever owns it."""
    if appliance.installed is not None and not on.reached(appliance.installed):
        return []
    if appliance.kind is not None and appliance.kind not in law.words("co_appliances", on):
        return []
    room = places.rooms.get(appliance.room or "")
    if room is None:
        return [law.unrecorded("appliances.room", "which room the appliance is in", of=appliance.ref)]
    if room.use is not None and room.use not in law.words("living_uses", on):
        return []
    there = (a for a in places.alarms if a.room in (room.ref, None))
    says = "There is no working carbon monoxide alarm in a room with a boiler, stove or fire."
    problems = _covered(law, places, there, "co", says, room.ref)
    if problems and room.use is None:
        return [_no_use(law, room)]
    if problems and appliance.kind is None:
        return [law.unrecorded("appliances.kind", "what kind of appliance this is", of=appliance.ref)]
    return problems


def _covered(
    law: Topic, places: Places, there: Iterable[Alarm], kind: str, says: str, room: str | None
) -> list[Reason]:
    """Nothing if a working alarm is there for certain; else what is not recorded; else what is missing."""
    unknowns = []
    for alarm in there:
        if alarm.kind not in (kind, None) or alarm.working is False:
            continue
        gaps = _gaps(law, places, alarm, kind)
        if not gaps:
            return []
        unknowns += gaps
    cure = "Fit one, see that it works and record it."
    return unknowns or [law.reason("missing", says, cure, of=room)]


def _gaps(law: Topic, places: Places, alarm: Alarm, kind: str) -> list[Reason]:
    """What is not recorded about an alarm that might be the one asked for."""
    gaps = []
    if alarm.kind is None:
        gaps.append(law.unrecorded("alarms.kind", "what kind of alarm this is", of=alarm.ref))
    if alarm.room is None:
        gaps.append(law.unrecorded("alarms.room", "which room the alarm is in", of=alarm.ref))
    elif kind == "smoke" and places.level(alarm) is None:
        gaps.append(law.unrecorded("rooms.level", "which storey the room is on", of=alarm.room))
    if alarm.working is None:
        gaps.append(law.unrecorded("alarms.working", "whether the alarm works", of=alarm.ref))
    return gaps


def _worn_out(law: Topic, on: AsOn, alarms: Iterable[Alarm]) -> tuple[Reason, ...]:
    """Past the maker's date an alarm still counts, but it is time to say so."""
    says = "An alarm is past its replace-by date."
    return tuple(
        law.reason("lapsed", says, "Replace it.", a.ref, day_after(a.replace_by))
        for a in alarms if a.kind != "heat" and a.replace_by is not None and on.passed(a.replace_by)
    )  # fmt: skip


@rule(_NEEDS | {"start_test": bool}, duties=("test_on_start",), reads=_READS)
def test_duties(home: Home, law: Topic, on: AsOn) -> Finding:
    """Every smoke and CO alarm is checked on the day a new tenancy begins; reg 4(1)(b)."""
    if not home.unit.tenancies or _is_outside(home, law, on):
        return Finding()
    need = needed(home, law.shelf["eng_hmo_licence"], on)
    if need.shared or need.selective:
        return Finding()
    since = law.begins
    if home.unit.landlord == "registered_provider":
        since = law.day("social_from", on)
    found = []
    for tenancy in home.tenancies(on):
        if tenancy.starts is None or tenancy.starts >= since:
            starts = tenancy.starts
            done = starts is not None and on.reached(starts) and _all_tested(home, starts)
            found.append(duty(law, "test_on_start", starts, done, on, value="start_test", of=tenancy.ref))
    return reported(law, found)


def _all_tested(home: Home, day: date) -> bool:
    """No alarm list, or none that has to be tested, proves nothing."""
    tested = [a.tested for a in home.unit.alarms or () if a.kind in ("smoke", "co", None)]
    return bool(tested) and all(days is not None and day in days for days in tested)
