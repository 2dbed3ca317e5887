"""Which alarms are where, and whether the one that is asked for is among them."""

from collections.abc import Iterable
from typing import NamedTuple

from ..dates import AsOn, day_after
from ..home import Home
from ..lawbook import Finding, Topic
from ..model import Alarm, Appliance, Reason, Room, State
from .scope import unlisted


class Places(NamedTuple):
    """The rooms of a home by ref, and its alarms."""

    rooms: dict[str, Room]
    alarms: tuple[Alarm, ...]

    def level(self, alarm: Alarm) -> int | None:
        room = self.rooms.get(alarm.room or "")
        return room.level if room else None

    def in_room(self, room: Room) -> Iterable[Alarm]:
        """Alarms in a room, and those that may be, for all that is recorded."""
        return (alarm for alarm in self.alarms if alarm.room in (room.ref, None))


class Asked(NamedTuple):
    """What an alarm has to be to count, besides working."""

    kinds: tuple[str, ...]
    says: str
    """What is said when there is none."""
    powers: tuple[str, ...] = ()
    """None of these named: any will do."""
    linked: bool = False


CO = Asked(("co",), "There is no working carbon monoxide alarm in a room with a boiler, stove or fire.")


def places_of(home: Home) -> Places | None:
    """None while the list of rooms or that of alarms is not on record."""
    if home.rooms is None or home.alarms is None:
        return None
    return Places({room.ref: room for room in home.rooms}, home.alarms)


def covered(
    law: Topic,
    places: Places,
    there: Iterable[Alarm],
    asked: Asked,
    room: str | None,
    *,
    storey: bool = False,
) -> list[Reason]:
    """Nothing if such an alarm is there for certain; else what is not recorded; else what is missing."""
    unknowns: list[Reason] = []
    for alarm in there:
        if _cannot_count(alarm, asked):
            continue
        gaps = _gaps(law, places, alarm, asked, storey)
        if not gaps:
            return []
        unknowns += gaps
    cure = "Fit one, see that it works and record it."
    return unknowns or [law.reason("missing", asked.says, cure, of=room)]


def _cannot_count(alarm: Alarm, asked: Asked) -> bool:
    if alarm.working is False or (alarm.kind is not None and alarm.kind not in asked.kinds):
        return True
    if asked.powers and alarm.power is not None and alarm.power not in asked.powers:
        return True
    return asked.linked and alarm.interlinked is False


def _gaps(law: Topic, places: Places, alarm: Alarm, asked: Asked, storey: bool) -> list[Reason]:
    """What is not recorded about an alarm that might be the one asked for."""
    gaps = []
    if alarm.kind is None:
        gaps.append(law.unrecorded("alarms.kind", "what kind of alarm this is", of=alarm.ref))
    if alarm.room is None:
        gaps.append(law.unrecorded("alarms.room", "which room the alarm is in", of=alarm.ref))
    elif storey and places.level(alarm) is None:
        gaps.append(law.unrecorded("rooms.level", "which storey the room is on", of=alarm.room))
    if alarm.working is None:
        gaps.append(law.unrecorded("alarms.working", "whether the alarm works", of=alarm.ref))
    if asked.powers and alarm.power is None:
        gaps.append(law.unrecorded("alarms.power", "what the alarm runs on", of=alarm.ref))
    if asked.linked and alarm.interlinked is None:
        gaps.append(
            law.unrecorded("alarms.interlinked", "whether the alarm is linked to the others", of=alarm.ref)
        )
    return gaps


def by_burners(
    home: Home, law: Topic, on: AsOn, places: Places, uses: tuple[str, ...] | None = None
) -> list[Reason]:
    """A carbon monoxide alarm in each room, of these uses if any are named, with an appliance that asks for one."""
    if home.appliances is None:
        return [unlisted(law, "appliances")]
    asking = law.words("co_appliances", on)
    return [one for burner in home.appliances for one in _by_burner(law, on, places, burner, asking, uses)]


def _by_burner(
    law: Topic, on: AsOn, places: Places, burner: Appliance, asking: tuple[str, ...], uses: tuple[str, ...] | None
) -> list[Reason]:  # fmt: skip
    """The alarm one appliance asks for, whoever owns it."""
    if burner.installed is not None and not on.reached(burner.installed):
        return []
    if burner.kind is not None and burner.kind not in asking:
        return []
    room = places.rooms.get(burner.room or "")
    if room is None:
        return [law.unrecorded("appliances.room", "which room the appliance is in", of=burner.ref)]
    if uses is not None and room.use is not None and room.use not in uses:
        return []
    problems = covered(law, places, places.in_room(room), CO, room.ref)
    if problems and uses is not None and room.use is None:
        return [no_use(law, room)]
    if problems and burner.kind is None:
        return [law.unrecorded("appliances.kind", "what kind of appliance this is", of=burner.ref)]
    return problems


def no_use(law: Topic, room: Room) -> Reason:
    return law.unrecorded("rooms.use", "what the room is used for", of=room.ref)


def no_level(law: Topic, room: Room) -> Reason:
    return law.unrecorded("rooms.level", "which storey the room is on", of=room.ref)


def worn_out(law: Topic, on: AsOn, alarms: Iterable[Alarm], kinds: tuple[str, ...]) -> tuple[Reason, ...]:
    """A reason for each alarm of these kinds, or of none recorded, that is past the maker's date."""
    says = "An alarm is past its replace-by date."
    return tuple(
        law.reason("lapsed", says, "Replace it.", a.ref, day_after(a.replace_by))
        for a in alarms
        if (a.kind is None or a.kind in kinds) and a.replace_by is not None and on.passed(a.replace_by)
    )


def judged(problems: Iterable[Reason], warnings: tuple[Reason, ...] = ()) -> Finding:
    """Not met for anything that is wrong for certain; unknown for nothing but facts that are not recorded."""
    once = tuple(dict.fromkeys(problems))
    state = State.UNKNOWN if once else State.MET
    if any(one.kind != "unknown" for one in once):
        state = State.NOT_MET
    return Finding(state, problems=once, warnings=warnings)
