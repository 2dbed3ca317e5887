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
from .scope import NOT_APPLICABLE, landlord_doubt, letting_doubt, no_list, weighed

_NEEDS = {"living_uses": list, "co_appliances": list, "social_from": date, "outside_lettings": list}
_READS = ("eng_hmo_licence",)


class Floor(NamedTuple):
    """The rooms and alarms of a home by place."""

    rooms: dict[str, Room]
    alarms: tuple[Alarm, ...]

    def level(self, alarm: Alarm) -> int | None:
        room = self.rooms.get(alarm.room or "")
        return room.level if room else None


@rule(reads=_READS, **_NEEDS)
def smoke_and_co(home: Home, law: Topic, on: AsOn) -> Finding:
    """A smoke alarm on each storey lived on, and a CO alarm in each room lived in that has a fixed burner; reg 4(1)(a).

    A gas cooker asks for none. Where a licence is needed its conditions govern instead (reg 2(1)).
    """
    if _is_outside(home, law, on):
        return NOT_APPLICABLE
    need = needed(home, law.shelf["eng_hmo_licence"], on)
    if need.shared or need.selective:
        return NOT_APPLICABLE
    doubts = explained(law, need.doubts) + landlord_doubt(home, law) + letting_doubt(home, law)
    return weighed(_fitted(home, law, on), doubts)


def _is_outside(home: Home, law: Topic, on: AsOn) -> bool:
    """Sch 1: shared with the landlord, long leases; registered providers until they were brought in."""
    landlord = home.unit.landlord
    if landlord == "resident" or home.unit.letting.kind in law.words("outside_lettings", on):
        return True
    return landlord == "registered_provider" and not on.reached(law.day("social_from", on))


def _fitted(home: Home, law: Topic, on: AsOn) -> Finding:
    unit = home.unit
    if unit.rooms is None or unit.alarms is None:
        return no_list(law, "rooms" if unit.rooms is None else "alarms")
    floor = Floor({room.ref: room for room in unit.rooms}, tuple(sorted(unit.alarms, key=lambda a: a.ref)))
    problems = _smoke(law, on, floor)
    if unit.appliances is None:
        problems.append(law.unrecorded("appliances", "the list of appliances, even if it is empty"))
    for appliance in sorted(unit.appliances or (), key=lambda a: a.ref):
        problems += _co(law, on, floor, appliance)
    problems = list(dict.fromkeys(problems))
    failed = any(r.kind != "unknown" for r in problems)
    state = State.NOT_MET if failed else State.UNKNOWN if problems else State.MET
    return Finding(state, problems=tuple(problems), warnings=_worn_out(law, on, floor.alarms))


def _smoke(law: Topic, on: AsOn, floor: Floor) -> list[Reason]:
    """Storey by storey. A room whose use or storey is not recorded may be lived in, and so may ask for an alarm."""
    uses = law.words("living_uses", on)
    lived_in = [room for room in floor.rooms.values() if room.use in uses]
    if not lived_in:
        return [law.unrecorded("rooms", "the rooms that are lived in")]
    problems = [_no_level(law, room) for room in sorted(lived_in, key=lambda r: r.ref) if room.level is None]
    levels = {room.level for room in lived_in if room.level is not None}
    for level in sorted(levels):
        there = [a for a in floor.alarms if floor.level(a) in (level, None)]
        says = f"There is no working smoke alarm on storey {level}."
        problems += _covered(law, floor, there, "smoke", says, None)
    for room in sorted(floor.rooms.values(), key=lambda r: r.ref):
        if room.use is None and (room.level is None or room.level not in levels):
            there = [a for a in floor.alarms if room.level is not None and floor.level(a) == room.level]
            if not any(a.kind == "smoke" and a.working for a in there):
                problems.append(law.unrecorded("rooms.use", "what the room is used for", of=room.ref))
    return problems


def _no_level(law: Topic, room: Room) -> Reason:
    return law.unrecorded("rooms.level", "which storey the room is on", of=room.ref)


def _co(law: Topic, on: AsOn, floor: Floor, appliance: Appliance) -> list[Reason]:
    """The alarm one appliance asks for, whoever owns it."""
    if appliance.installed is not None and not on.reached(appliance.installed):
        return []
    if appliance.kind is not None and appliance.kind not in law.words("co_appliances", on):
        return []
    room = floor.rooms.get(appliance.room or "")
    if room is None:
        return [law.unrecorded("appliances.room", "which room the appliance is in", of=appliance.ref)]
    if room.use is not None and room.use not in law.words("living_uses", on):
        return []
    there = [a for a in floor.alarms if a.room in (room.ref, None)]
    says = "There is no working carbon monoxide alarm in a room with a fixed burning appliance."
    problems = _covered(law, floor, there, "co", says, room.ref)
    if problems and room.use is None:
        return [law.unrecorded("rooms.use", "what the room is used for", of=room.ref)]
    if problems and appliance.kind is None:
        return [law.unrecorded("appliances.kind", "what kind of appliance this is", of=appliance.ref)]
    return problems


def _covered(
    law: Topic, floor: Floor, there: Iterable[Alarm], kind: str, says: str, room: str | None
) -> list[Reason]:
    """Nothing if a working alarm of the kind is there for certain; else what is not recorded; else what is missing."""
    unknowns = []
    for alarm in there:
        if alarm.kind not in (kind, None) or alarm.working is False:
            continue
        gaps = _gaps(law, floor, alarm, kind)
        if not gaps:
            return []
        unknowns += gaps
    cure = "Fit one, see that it works and record it."
    return unknowns or [law.reason("missing", says, cure, of=room)]


def _gaps(law: Topic, floor: Floor, alarm: Alarm, kind: str) -> list[Reason]:
    """What is not recorded about an alarm that might be the one asked for."""
    gaps = []
    if alarm.kind is None:
        gaps.append(law.unrecorded("alarms.kind", "what kind of alarm this is", of=alarm.ref))
    if alarm.room is None:
        gaps.append(law.unrecorded("alarms.room", "which room the alarm is in", of=alarm.ref))
    elif kind == "smoke" and floor.level(alarm) is None:
        gaps.append(law.unrecorded("rooms.level", "which storey the room is on", of=alarm.room))
    if alarm.working is None:
        gaps.append(law.unrecorded("alarms.working", "whether the alarm works", of=alarm.ref))
    return gaps


def _worn_out(law: Topic, on: AsOn, alarms: Iterable[Alarm]) -> tuple[Reason, ...]:
    """Past the maker's date an alarm still counts, but it is time to say so."""
    return tuple(
        law.reason("lapsed", "An alarm is past its replace-by date.", "Replace it.", a.ref, day_after(a.replace_by))
        for a in alarms if a.kind != "heat" and a.replace_by is not None and on.passed(a.replace_by)
    )  # fmt: skip


@rule(reads=_READS, duties=("test_on_start",), start_test=bool, **_NEEDS)
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
            done = tenancy.starts is not None and on.reached(tenancy.starts) and _all_tested(home, tenancy.starts)
            found.append(duty(law, "test_on_start", tenancy.starts, done, on, value="start_test", of=tenancy.ref))
    return reported(law, found)


def _all_tested(home: Home, day: date) -> bool:
    """No alarm list, or none that has to be tested, proves nothing."""
    tested = [a.tested for a in home.unit.alarms or () if a.kind in ("smoke", "co", None)]
    return bool(tested) and all(days is not None and day in days for days in tested)
