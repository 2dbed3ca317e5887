"""Smoke and carbon monoxide alarms storey by storey: England and Wales; and the tests that tenancies begin with.

England: SI 2015/1693 as amended by SI 2022/707. Wales: WSI 2022/6 reg 5.
"""

from datetime import date

from ..dates import AsOn, days_starting_with
from ..home import Home
from ..lawbook import Finding, Topic
from ..model import Act, Duty, Reason, Room
from .alarm_places import Asked, Places, by_burners, covered, judged, no_level, no_use, places_of, worn_out
from .duties import duty, reported
from .licensing import explained, needed
from .registry import rule
from .scope import (
    NOT_APPLICABLE,
    THOUGHT_OUTSIDE,
    is_long_letting,
    is_settled,
    landlord_doubt,
    letting_doubt,
    no_list,
    weighed,
)

_NEEDS = {
    "living_uses": list, "passages": list, "co_appliances": list, "social_from": date, "long_letting_years": int,
}  # fmt: skip
_READS = ("eng_hmo_licence",)
_KINDS = ("smoke", "co")


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
    """Sch: shared with the landlord, seven years or more; registered providers until they were brought in."""
    landlord = home.unit.landlord
    if landlord == "resident" or is_long_letting(home, law.number("long_letting_years", on)):
        return True
    return landlord == "registered_provider" and not on.reached(law.day("social_from", on))


def _fitted(home: Home, law: Topic, on: AsOn) -> Finding:
    places = places_of(home)
    if places is None:
        return no_list(law, "rooms" if home.rooms is None else "alarms")
    uses = law.words("living_uses", on)
    problems = _smoke(law, places, uses, Asked(("smoke",), "")) + by_burners(home, law, on, places, uses)
    return judged(problems, worn_out(law, on, places.alarms, _KINDS) + _in_passages(home, law, on, places))


def _in_passages(home: Home, law: Topic, on: AsOn, places: Places) -> tuple[Reason, ...]:
    """A burner in a hall or landing and no alarm there: it asks for one where the passage is lived in."""
    told = law.entry("passages", on)
    says = "A boiler, stove or fire stands in a hall or landing without a working carbon monoxide alarm."
    cure = "Fit one, see that it works and record it: the law counts a hall or landing that is lived in as a room."
    lacking = by_burners(home, law, on, places, law.words("passages", on))
    return tuple(
        law.reason("missing", says, cure, one.of, told=told) for one in lacking if one.kind == "missing"
    )


def _smoke(law: Topic, places: Places, uses: tuple[str, ...] | None, asked: Asked) -> list[Reason]:
    """Storey by storey, counting rooms of these uses or, with none named, every room.

    A room whose use or storey is not recorded may be one that asks for an alarm.
    """
    rooms = places.rooms.values()
    counted = [room for room in rooms if uses is None or room.use in uses]
    if not counted:
        return [law.unrecorded("rooms", "the rooms that are lived in")]
    levels = {room.level for room in counted}
    problems = [no_level(law, room) for room in counted if room.level is None]
    for level in sorted(level for level in levels if level is not None):
        there = (alarm for alarm in places.alarms if places.level(alarm) in (level, None))
        wanted = asked._replace(says=f"There is no working smoke alarm on storey {level}{asked.says}.")
        problems += covered(law, places, there, wanted, None, storey=True)
    for room in rooms if uses is not None else ():
        if room.use is None and (room.level is None or room.level not in levels):
            problems += _perhaps_lived_in(law, places, room)
    return problems


def _perhaps_lived_in(law: Topic, places: Places, room: Room) -> list[Reason]:
    there = (a for a in places.alarms if room.level is not None and places.level(a) == room.level)
    return [] if any(a.kind == "smoke" and a.working for a in there) else [no_use(law, room)]


_WELSH_NEEDS = {
    "landlords": list, "long_letting_years": int, "smoke_powers": list, "co_appliances": list,
    "smoke_running_from": date,
}  # fmt: skip


@rule(_WELSH_NEEDS)
def each_storey(home: Home, law: Topic, on: AsOn) -> Finding:
    """A smoke alarm on the mains, linked to the others there, on each storey; CO by each burner; WSI 2022/6 reg 5."""
    landlord = home.unit.landlord
    if landlord is not None and landlord not in law.words("landlords", on):
        return THOUGHT_OUTSIDE
    if is_long_letting(home, law.number("long_letting_years", on)):
        return NOT_APPLICABLE
    places = places_of(home)
    doubts = landlord_doubt(home, law) + letting_doubt(home, law)
    if places is None:
        return weighed(no_list(law, "rooms" if home.rooms is None else "alarms"), doubts)
    powers = law.words("smoke_powers", on)
    wired = sum(a.kind in ("smoke", None) and (a.power is None or a.power in powers) for a in places.alarms)
    asked = Asked(("smoke",), " that runs on the mains and is linked to the others", powers, linked=wired > 1)
    burners = by_burners(home, law, on, places)
    found = judged(_smoke(law, places, None, asked) + burners, worn_out(law, on, places.alarms, _KINDS))
    if found.problems and has_time(home, law, on, "smoke_running_from"):
        sure = tuple(one for one in dict.fromkeys(burners) if one.kind != "unknown")
        found = found._replace(continuing=False, warnings=found.warnings + sure)
    return weighed(found, doubts)


def has_time(home: Home, law: Topic, on: AsOn, value: str) -> bool:
    """Is the home let by contracts alone that are older than the law and have until a later day to be put right?"""
    if on.reached(law.day(value, on)):
        return False
    granted = [one.granted or one.starts for one in home.running(on)]
    return bool(granted) and all(day is not None and day < law.begins for day in granted)


@rule(
    _NEEDS | {"start_test": bool, "tested_kinds": list, "remedial_days": int},
    duties=("test_on_start", "remedial_notice"), reads=_READS,
)  # fmt: skip
def test_duties(home: Home, law: Topic, on: AsOn) -> Finding:
    """Every alarm checked on the day a new tenancy begins, reg 4(1)(b); a council's notice obeyed, reg 6(1)."""
    notices = _notices(home, on)
    if not (home.unit.tenancies or notices) or _is_outside(home, law, on):
        return Finding()
    need = needed(home, law.shelf["eng_hmo_licence"], on)
    if need.shared or need.selective:
        return Finding()
    since = law.day("social_from", on) if home.unit.landlord == "registered_provider" else law.begins
    owed = start_tests(home, law, on, since) + [_remedy(home, law, on, one) for one in notices]
    return told(home, law, on, owed)


def start_tests(home: Home, law: Topic, on: AsOn, since: date) -> list[Duty]:
    """One for each tenancy, running or coming, that began since a day or whose start is not recorded."""
    found = []
    for tenancy in home.tenancies(on):
        starts = tenancy.starts
        if starts is None or starts >= since:
            done = starts is not None and on.reached(starts) and starts in _days_all_tested(home, law, on)
            found.append(duty(law, "test_on_start", starts, done, on, value="start_test", of=tenancy.ref))
    return found


def told(home: Home, law: Topic, on: AsOn, owed: list[Duty]) -> Finding:
    """The duties. A test that was late is warned of until all alarms have been tested since; it stays late."""
    found = reported(law, owed)
    if not found.warnings:
        return found
    tested = _all_tested_by(home, law, on)
    still = [one for one in owed if not _is_overtaken(law, one, tested)]
    return found._replace(warnings=reported(law, still).warnings)


def _is_overtaken(law: Topic, one: Duty, tested: date | None) -> bool:
    if one.id != f"{law.id}.test_on_start" or one.due is None:
        return False
    return tested is not None and tested > one.due


def _test_days(home: Home, law: Topic, on: AsOn) -> list[set[date]]:
    """Days by which each alarm that has to be tested was; no list of alarms, or none of those kinds, proves nothing."""
    kinds = law.words("tested_kinds", on)
    asked = (a for a in home.alarms or () if a.kind is None or a.kind in kinds)
    return [{day for day in a.tested or () if on.reached(day)} for a in asked]


def _days_all_tested(home: Home, law: Topic, on: AsOn) -> set[date]:
    days = _test_days(home, law, on)
    return set.intersection(*days) if days else set()


def _all_tested_by(home: Home, law: Topic, on: AsOn) -> date | None:
    """The earliest among the latest tests of each alarm: all have been tested on that day or since."""
    days = _test_days(home, law, on)
    return min(max(one) for one in days) if days and all(days) else None


def _notices(home: Home, on: AsOn) -> list[Act]:
    """Notices of the council about an alarm. One with no day recorded has been served, nobody can say when."""
    notices = home.acts_of("notice_served")
    if not notices or not home.alarms:
        return []
    alarms = {alarm.ref for alarm in home.alarms}
    served = [
        one for one in notices
        if one.party == "council" and one.of in alarms
        and (one.on is None or on.reached(one.on))
    ]  # fmt: skip
    return sorted(served, key=lambda one: (one.of or "", one.on or date.min))


def _remedy(home: Home, law: Topic, on: AsOn, notice: Act) -> Duty:
    """So many days, the day of service the first. Done when the council hears of it or the alarm works again."""
    due = None if notice.on is None else days_starting_with(notice.on, law.number("remedial_days", on))
    answered = home.acts("confirmation_given", "council", (notice.of,), on)
    done = any(notice.on is None or day >= notice.on for day in answered)
    works = any(alarm.ref == notice.of and alarm.working for alarm in home.alarms or ())
    return duty(
        law, "remedial_notice", due, done or works, on, value="remedial_days", party="council", of=notice.of
    )
