"""Papers of a building that several homes share: fire, lifts, asbestos; and the water system of any home let.

Most of these have no interval in law, or only one in a standard; the packs say which. They warn and bar nothing.
"""

from datetime import date
from operator import itemgetter
from typing import NamedTuple

from ..dates import AsOn, add_months, add_years, day_after
from ..home import Home, Papers
from ..lawbook import Dated, Finding, Topic
from ..model import Certificate, Part, Reason, State
from .registry import rule
from .scope import NOT_APPLICABLE, all_of, any_of, is_shared, no_list, sharing_doubts, undated


class Check(NamedTuple):
    """Something done again and again, shown by a kind of paper."""

    kind: str
    words: str
    cure: str


FIRE_RISK = Check(
    "fire_risk_assessment", "fire risk assessment", "Have one made, with a day for its review, and record it."
)
COMMON_DOORS = Check(
    "fire_door_check_common", "check of the fire doors in the common parts", "Check them and record the day."
)
FLAT_DOORS = Check(
    "fire_door_check_flat", "check of the entrance door of the flat", "Check it and record the day."
)
EVACUATION = Check(
    "evacuation_plan",
    "plan for residents who need help to leave",
    "Ask who needs help, agree and record a plan.",
)
LIGHTING = Check(
    "emergency_lighting_test",
    "yearly test of the emergency lighting",
    "Have it tested; if the building has none, see that the fire risk assessment says so.",
)
ALARM_SERVICE = Check(
    "fire_alarm_service",
    "service of the fire alarm",
    "Have it serviced; if the building has none, see that the fire risk assessment says so.",
)
LIFT = Check("lift_examination", "thorough examination of the lift", "Have the lift examined and record it.")
ASBESTOS = Check(
    "asbestos_register", "asbestos register", "Have the common parts surveyed and the register reviewed."
)
WATER = Check(
    "legionella_assessment",
    "assessment of the water system for legionella",
    "Assess the water system and record the day.",
)


def has_common_parts(home: Home) -> bool | None:
    """A house is taken to have none unless they are recorded."""
    if home.building.common_parts is None and home.unit.dwelling == "house":
        return False
    return home.building.common_parts


def _is_communal(home: Home) -> bool | None:
    """Common parts of a building, or those of one shared house."""
    return any_of(has_common_parts(home), is_shared(home))


def _parts_doubt(home: Home, law: Topic) -> tuple[Reason, ...]:
    if has_common_parts(home) is not None:
        return ()
    return (law.unrecorded("common_parts", "whether the building has parts that several homes share"),)


def _communal_doubts(home: Home, law: Topic) -> tuple[Reason, ...]:
    shared = sharing_doubts(home, law) if is_shared(home) is None else ()
    return _parts_doubt(home, law) + shared


def _papers(home: Home, on: AsOn, kind: str) -> Papers:
    """By the day each was inspected or, where that is not recorded, issued."""
    inspected = home.papers(kind, "inspected", on)
    if not inspected.undated:
        return inspected
    issued = home.papers(kind, "issued", on)
    counted = [*inspected.counted, *(one for one in issued.counted if one[1].inspected is None)]
    neither = tuple(paper for paper in inspected.undated if paper.issued is None)
    return Papers(tuple(sorted(counted, key=itemgetter(0))), neither)


def _found(home: Home, law: Topic, on: AsOn, check: Check, source: Dated | None = None) -> Papers | Finding:
    """Papers of a kind, each with its day and at least one; else what there is to say about them."""
    papers = _papers(home, on, check.kind)
    return _lacking(home, law, check, papers, source) if papers.undated or not papers.counted else papers


def _lacking(home: Home, law: Topic, check: Check, papers: Papers, source: Dated | None = None) -> Finding:
    """`source` is the value that asks for the paper, where it is not the requirement itself."""
    if not home.has_papers:
        return no_list(law, "certificates")
    if papers.undated:
        return law.unknown(
            *(undated(law, one.ref, "inspected", f"the {check.words}") for one in papers.undated)
        )
    says = f"No {check.words} is on record."
    return Finding(State.NOT_MET, problems=(law.reason("missing", says, check.cure, told=source),))


def _every(
    home: Home, law: Topic, on: AsOn, check: Check, value: str = "months", source: Dated | None = None
) -> Finding:
    """Done within the months that `value` says, or by the earlier day printed on the paper; the last day still good."""
    papers = _found(home, law, on, check, source)
    if isinstance(papers, Finding):
        return papers
    months, told = law.number(value, on), law.entry(value, on)
    last, paper = min(((_last_day(day, one, months), one) for day, one in _dated(papers)), key=itemgetter(0))
    failed = [one for one in papers.latest() if one.outcome == "unsatisfactory"]
    problems: list[Reason] = []
    if failed:
        says = f"The latest {check.words} found faults."
        cure = "Put the faults right and record a new one."
        problems.append(law.reason("failed", says, cure, failed[0].ref, papers.counted[-1][0], told))
    if on.passed(last):
        says = f"The {check.words} was to be done again by {last:%-d %B %Y}."
        problems.append(law.reason("lapsed", says, check.cure, paper.ref, day_after(last), told))
    return Finding(State.NOT_MET if problems else State.MET, last, paper.ref, tuple(problems))


def _dated(papers: Papers) -> list[tuple[date, Certificate]]:
    """The latest, each with its day."""
    day = papers.counted[-1][0]
    return [(day, paper) for paper in papers.latest()]


def _last_day(day: date, paper: Certificate, months: int) -> date:
    last = add_months(day, months)
    return last if paper.until is None else min(last, paper.until)


@rule({})
def fire_risk(home: Home, law: Topic, on: AsOn) -> Finding:
    """An assessment, reviewed by the day its assessor set; the law itself sets no interval (SI 2005/1541 art 9)."""
    reached = _is_communal(home)
    if reached is False:
        return NOT_APPLICABLE
    if reached is None:
        return law.unknown(*_communal_doubts(home, law))
    papers = _found(home, law, on, FIRE_RISK)
    if isinstance(papers, Finding):
        return papers
    paper = min(papers.latest(), key=lambda one: (one.until or date.max, one.ref))
    if paper.until is None or not on.passed(paper.until):
        return Finding(State.MET, paper.until, paper.ref)
    says = f"The fire risk assessment was to be reviewed by {paper.until:%-d %B %Y}."
    reason = law.reason(
        "lapsed", says, "Have it reviewed and record the day.", paper.ref, day_after(paper.until)
    )
    return Finding(State.NOT_MET, paper.until, paper.ref, (reason,))


@rule({"months": int})
def emergency_lighting(home: Home, law: Topic, on: AsOn) -> Finding:
    """Its full test every year: BS 5266-1, no statute."""
    return _communal(home, law, on, LIGHTING)


@rule({"months": int})
def fire_alarm(home: Home, law: Topic, on: AsOn) -> Finding:
    """Its service twice a year: BS 5839-1, no statute."""
    return _communal(home, law, on, ALARM_SERVICE)


def _communal(home: Home, law: Topic, on: AsOn, check: Check) -> Finding:
    reached = _is_communal(home)
    if reached is False:
        return NOT_APPLICABLE
    return _every(home, law, on, check) if reached else law.unknown(*_communal_doubts(home, law))


@rule({"months": int, "built_before": int})
def asbestos(home: Home, law: Topic, on: AsOn) -> Finding:
    """A register for common parts built before asbestos was given up, reviewed every year: reg 4 and its code."""
    built = home.building.year_built
    old = None if built is None else built < law.number("built_before", on)
    reached = all_of(has_common_parts(home), old)
    if reached is False:
        return NOT_APPLICABLE
    if reached:
        return _every(home, law, on, ASBESTOS)
    doubts = _parts_doubt(home, law)
    if old is None:
        doubts = (*doubts, law.unrecorded("year_built", "the year in which the building was built"))
    return law.unknown(*doubts)


@rule({"months_at_work": int, "months_otherwise": int})
def lift(home: Home, law: Topic, on: AsOn) -> Finding:
    """Every six months: required of a lift used at work (reg 9), recommended for one that only residents use."""
    there = home.building.passenger_lift
    if there is None and (has_common_parts(home) is False or home.building.storeys == 1):
        there = False
    if there is None:
        return law.unknown(law.unrecorded("passenger_lift", "whether the building has a passenger lift"))
    if not there:
        return NOT_APPLICABLE
    value = "months_at_work" if home.building.lift_used_at_work else "months_otherwise"
    told = law.entry(value, on)
    return _every(home, law, on, LIFT, value, source=told)._replace(basis=told.basis)


def _height(home: Home, law: Topic, on: AsOn) -> float | None:
    """Metres from the ground to the top storey; a building of few storeys is taken to be lower than any that matter."""
    building = home.building
    if building.top_storey_height_m is None and building.storeys is not None:
        return 0 if building.storeys <= law.number("low_storeys", on) else None
    return building.top_storey_height_m


def _height_doubt(law: Topic) -> Reason:
    return law.unrecorded("top_storey_height_m", "how many metres the top storey is above the ground")


@rule({"since": date, "above_m": int, "low_storeys": int, "common_months": int, "flat_months": int})
def fire_doors(home: Home, law: Topic, on: AsOn) -> Finding:
    """Doors of the common parts every three months, of the flat every twelve: SI 2022/547 reg 10."""
    if not on.reached(law.day("since", on)):
        return NOT_APPLICABLE
    height = _height(home, law, on)
    above = None if height is None else height > law.number("above_m", on)
    reached = all_of(has_common_parts(home), above)
    if reached is False:
        return NOT_APPLICABLE
    if reached is None:
        return law.unknown(*_parts_doubt(home, law), *(() if above else (_height_doubt(law),)))
    if not home.has_papers:
        return no_list(law, "certificates")
    checks = [(COMMON_DOORS, _every(home, law, on, COMMON_DOORS, "common_months"))]
    if home.unit.dwelling != "house":
        checks.append((FLAT_DOORS, _every(home, law, on, FLAT_DOORS, "flat_months")))
    return _together(checks)


def _together(checks: list[tuple[Check, Finding]]) -> Finding:
    """The worst of several checks, the earliest of their last days, and each as a part."""
    found = [one for _, one in checks]
    states = [one.state for one in found]
    worst = next(one for one in (State.NOT_MET, State.UNKNOWN, State.MET) if one in states)
    first = min(found, key=lambda one: one.due or date.max)
    parts = tuple(
        Part(one.certificate or check.kind, one.state, one.due, one.certificate, False)
        for check, one in checks
    )
    problems = tuple(reason for one in found for reason in one.problems)
    return Finding(worst, first.due, first.certificate, problems, parts=parts)


@rule({"since": date, "tall_m": int, "tall_storeys": int, "above_m": int, "low_storeys": int, "months": int})
def evacuation_plans(home: Home, law: Topic, on: AsOn) -> Finding:
    """Plans for those who cannot leave unaided, reviewed every twelve months: SI 2025/797 reg 3 says where."""
    if not on.reached(law.day("since", on)):
        return NOT_APPLICABLE
    building, height = home.building, _height(home, law, on)
    above = None if height is None else height > law.number("above_m", on)
    tall = None if height is None else height >= law.number("tall_m", on)
    many = None if building.storeys is None else building.storeys >= law.number("tall_storeys", on)
    at_once = all_of(above, building.simultaneous_evacuation)
    reached = all_of(has_common_parts(home), any_of(tall, many, at_once))
    if reached is False:
        return NOT_APPLICABLE
    if reached:
        return _every(home, law, on, EVACUATION)
    doubts = list(_parts_doubt(home, law))
    if any_of(tall, many, at_once) is None:
        doubts += [_height_doubt(law)] if tall is None else []
        doubts += [law.unrecorded("storeys", "how many storeys the building has")] if many is None else []
        if at_once is None and building.simultaneous_evacuation is None:
            words = "whether everybody is to leave at once on an alarm"
            doubts.append(law.unrecorded("simultaneous_evacuation", words))
    return law.unknown(*doubts)


@rule({"review_prompt_years": int, "outside_lettings": list})
def water(home: Home, law: Topic, on: AsOn) -> Finding:
    """Some assessment; it never runs out. An old one, or one past the day it names for a review, is worth a look."""
    if home.unit.letting.kind in law.words("outside_lettings", on):
        return NOT_APPLICABLE
    papers = _papers(home, on, WATER.kind)
    if not papers.counted:
        return _lacking(home, law, WATER, papers)
    day, paper = min(_dated(papers), key=lambda one: (one[1].until or date.max, one[1].ref))
    look = add_years(day, law.number("review_prompt_years", on))
    look = look if paper.until is None else min(look, paper.until)
    if not on.passed(look):
        return Finding(State.MET, None, paper.ref)
    says = f"The {WATER.words} is of {day:%-d %B %Y}; it has not run out, but see whether it is still right."
    cure = "Look at it again if anything has changed, and record the day."
    told = law.entry("review_prompt_years", on)
    prompt = law.reason("review", says, cure, paper.ref, day_after(look), told)
    return Finding(State.MET, None, paper.ref, warnings=(prompt,))
