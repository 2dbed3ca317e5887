"""The condition report on the fixed wiring of a rented home, and the main board, in all four nations."""

from collections.abc import Iterable
from datetime import date
from math import floor
from typing import NamedTuple

from ..dates import AsOn, add_months, add_years, day_after, years_beginning_with
from ..home import Home
from ..lawbook import Finding, Topic
from ..model import Certificate, Defect, Reason, State
from .danger import open_danger
from .licensing import explained, needs_shared_licence
from .registry import rule
from .scope import (
    NOT_APPLICABLE,
    is_long_letting,
    is_settled,
    landlord_doubt,
    letting_doubt,
    no_list,
    undated,
    unlisted,
    weighed,
)

REACH = {"outside_landlords": list, "long_letting_years": int}
"""What a pack holds for `outside`."""
BINDING = {"private_new_from": date, "private_old_from": date}
"""What a pack holds for `binds_running`; with `social_` before them too where social landlords have other days."""
TIMING = {"interval_years": int, "anniversary_counts": bool}
"""What a pack holds for `last_good_day`."""
_NEEDS = {**REACH, **BINDING, **TIMING, "failing_codes": list}


class Sheet(NamedTuple):
    """A report by somebody who tested something, and how it is spoken of."""

    kind: str
    name: str
    missing: str
    cure: str
    mend: str
    """What lifts an unsatisfactory one."""


REPORT = Sheet(
    "eicr", "electrical report", "There is no electrical report.",
    "Have the installation inspected and tested.",
    "Have every C1, C2 and FI on it put right and confirmed, or have a new inspection.",
)  # fmt: skip


@rule(_NEEDS)
def condition_report(home: Home, law: Topic, on: AsOn) -> Finding:
    """A satisfactory report no more than five years old, or younger where it says so.

    England: SI 2020/312 reg 3(1)-(2). Scotland: Housing (Scotland) Act 2006 ss.13 and 19A. The latest inspection
    governs. Because the wiring must meet the standard for as long as the home is occupied, an open C1, C2 or FI is
    a failure by law too, whatever the report said on its day.
    """
    answer = outside(home, law, on)
    if answer is not None:
        return answer
    return _for_the_running(home, law, on, _weighed(home, law, wiring(home, law, on)))


@rule(_NEEDS, reads=("ni_hmo",))
def report_unless_licensed(home: Home, law: Topic, on: AsOn) -> Finding:
    """The same (SR 2024/201 reg 3), but a home that needs a licence as a shared home stays under that scheme."""
    licensed, doubts = needs_shared_licence(home, law.shelf["ni_hmo"], on)
    if licensed:
        return NOT_APPLICABLE
    return weighed(condition_report(home, law, on), explained(law, doubts))


@rule(_NEEDS)
def report_in_date(home: Home, law: Topic, on: AsOn) -> Finding:
    """A report in date, whatever it found: WSI 2022/6 reg 6(1)-(2). What it found is warned of."""
    answer = outside(home, law, on)
    if answer is not None:
        return answer
    found = _weighed(home, law, in_time(home, law, on, REPORT))
    return _for_the_running(home, law, on, found._replace(warnings=tuple(_found_wanting(home, law, on))))


@rule(REACH | {"required": bool})
def residual_current_device(home: Home, law: Topic, on: AsOn) -> Finding:
    """A 30 mA device at the main board, without which the repairing standard is not met (Scotland)."""
    answer = outside(home, law, on)
    if answer is not None or not law.at("required", on):
        return answer or NOT_APPLICABLE
    fitted = home.unit.main_board_rcd_30ma
    if fitted is None:
        words = "whether the main board has a 30 mA residual current device"
        return _weighed(home, law, law.unknown(law.unrecorded("main_board_rcd_30ma", words)))
    if fitted:
        return _weighed(home, law, Finding(State.MET))
    says = "The main board has no 30 mA residual current device."
    reason = law.reason("missing", says, "Have an electrician fit one.", told=law.entry("required", on))
    return _weighed(home, law, Finding(State.NOT_MET, problems=(reason,)))


def outside(home: Home, law: Topic, on: AsOn) -> Finding | None:
    """The answer for a home that is not reached: by its landlord, or as a long letting; None for one that is."""
    if home.unit.landlord in law.words("outside_landlords", on):
        return Finding(State.NOT_APPLICABLE, basis=law.entry("outside_landlords", on).basis)
    return NOT_APPLICABLE if is_long_letting(home, law.number("long_letting_years", on)) else None


def _weighed(home: Home, law: Topic, found: Finding) -> Finding:
    return weighed(found, landlord_doubt(home, law) + letting_doubt(home, law))


def _for_the_running(home: Home, law: Topic, on: AsOn, found: Finding) -> Finding:
    return found if is_settled(found) else found._replace(continuing=binds_running(home, law, on))


def wiring(home: Home, law: Topic, on: AsOn) -> Finding:
    """The report in date and satisfactory, and nothing that would fail one open."""
    codes = law.words("failing_codes", on)
    dangers = [open_danger(law, one) for one in home.open_defects("bs7671", codes, on)]
    unknowns = []
    if home.defects is None:
        unknowns.append(unlisted(law, "defects"))
    return satisfactory(home, law, on, REPORT, codes, unknowns, dangers)


def satisfactory(
    home: Home, law: Topic, on: AsOn, sheet: Sheet, codes: tuple[str, ...], unknowns: Iterable[Reason] = (),
    dangers: Iterable[Reason] = (),
) -> Finding:  # fmt: skip
    """The latest test in date and satisfactory or put right; with more unknowns and dangers, if there are any."""
    return _tested(home, law, on, sheet, codes, list(unknowns), list(dangers))


def in_time(home: Home, law: Topic, on: AsOn, sheet: Sheet) -> Finding:
    """The latest test in date, whatever it found."""
    return _tested(home, law, on, sheet, None, [], [])


def _tested(
    home: Home, law: Topic, on: AsOn, sheet: Sheet, codes: tuple[str, ...] | None, unknowns: list[Reason],
    dangers: list[Reason],
) -> Finding:  # fmt: skip
    if not home.has_papers:
        return no_list(law, "certificates")
    papers = home.papers(sheet.kind, "inspected", on)
    unknowns = [undated(law, p.ref, "inspected", f"the {sheet.name}") for p in papers.undated] + unknowns
    if papers.undated or not papers.counted:
        missing = law.reason("missing", sheet.missing, sheet.cure)
        state = State.UNKNOWN if unknowns and not dangers else State.NOT_MET
        return Finding(state, problems=(*(unknowns or [missing]), *dangers))
    judged = [(p, _last_good_day(law, on, p)) for p in papers.latest()]
    faults = [_faults(home, law, on, sheet, codes, p, last) for p, last in judged]
    due = min(last for _, last in judged)
    # Of several of one day the one at fault governs, then the one that ends first.
    *_, ref = min((not wrong, last, p.ref) for (p, last), wrong in zip(judged, faults, strict=True))
    problems = [r for wrong in faults for r in wrong] + dangers
    unsure = unknowns + [r for r in problems if r.kind == "unknown"]
    failures = [r for r in problems if r.kind != "unknown"]
    state = State.NOT_MET if failures else State.UNKNOWN if unsure else State.MET
    return Finding(state, due, ref, tuple(unsure + failures))


def _last_good_day(law: Topic, on: AsOn, paper: Certificate) -> date:
    return last_good_day(paper, law.number("interval_years", on), law.at("anniversary_counts", on))


def last_good_day(paper: Certificate, interval_years: int, anniversary_counts: bool = True) -> date:
    """The earliest of the end of the years, the shorter interval the report asks for, and the day printed on it.

    The years end on the anniversary, or the day before it where the law has them begin with the day of inspection.
    The other two last to the end of their day. Part years become whole months, rounded down.
    """
    if paper.inspected is None:
        raise ValueError(f"{paper.ref} has no day of inspection.")
    ends = add_years if anniversary_counts else years_beginning_with
    days = [ends(paper.inspected, interval_years)]
    if paper.next_within_years is not None:
        years = max(0, min(paper.next_within_years, interval_years))
        days.append(add_months(paper.inspected, floor(12 * years)))
    if paper.until is not None:
        days.append(paper.until)
    return min(days)


def _faults(
    home: Home, law: Topic, on: AsOn, sheet: Sheet, codes: tuple[str, ...] | None, paper: Certificate, last: date
) -> list[Reason]:  # fmt: skip
    """What is wrong with the governing report itself; its result is not asked for where `codes` is None."""
    faults = []
    if codes is not None and paper.outcome is None:
        faults.append(law.unrecorded("outcome", f"whether the {sheet.name} was satisfactory", of=paper.ref))
    elif codes is not None and has_failed(home, codes, on, paper):
        faults.append(_failed(law, sheet, paper))
    if on.passed(last):
        says, cure = f"The latest {sheet.name} is out of date.", f"{sheet.cure[:-1]} again."
        told = law.entry("interval_years", on)
        faults.append(law.reason("lapsed", says, cure, paper.ref, day_after(last), told))
    return faults


def _failed(law: Topic, sheet: Sheet, paper: Certificate) -> Reason:
    says = f"The latest {sheet.name} is unsatisfactory and is not confirmed as put right."
    return law.reason("failed", says, sheet.mend, of=paper.ref, since=paper.inspected)


def _found_wanting(home: Home, law: Topic, on: AsOn) -> list[Reason]:
    """What a report found or somebody has found since, where the law asks only that there is one in date."""
    codes = law.words("failing_codes", on)
    latest = home.papers("eicr", "inspected", on).latest()
    said = [_failed(law, REPORT, paper) for paper in latest if has_failed(home, codes, on, paper)]
    return said + [open_danger(law, one) for one in home.open_defects("bs7671", codes, on)]


def failing(home: Home, law: Topic, on: AsOn, paper: Certificate) -> tuple[Defect, ...]:
    """The defects of a report that make it unsatisfactory."""
    return home.tied(paper.ref, "bs7671", law.words("failing_codes", on))


def has_failed(home: Home, codes: tuple[str, ...], on: AsOn, paper: Certificate) -> bool:
    """Unsatisfactory, and not put right since."""
    return paper.outcome == "unsatisfactory" and not is_put_right(home, codes, on, paper)


def is_put_right(home: Home, codes: tuple[str, ...], on: AsOn, paper: Certificate) -> bool:
    """Every defect of the report that has one of these codes is confirmed; with no codes, every defect of it.

    An unsatisfactory report with no such defect on record has defects that nobody recorded.
    """
    mine = [one for one in home.defects or () if one.certificate == paper.ref]
    found = [one for one in mine if not codes or (one.scheme == "bs7671" and one.code in codes)]
    return bool(found) and all(one.confirmed is not None and on.reached(one.confirmed) for one in found)


def binds_running(home: Home, law: Topic, on: AsOn) -> bool:
    """Is any tenancy now running held to the law yet? Older tenancies were brought in later."""
    owner = owner_of(home, law)
    new_from = law.day(f"{owner}_new_from", on)
    for tenancy in home.running(on):
        granted = tenancy.granted or tenancy.starts
        if granted is None or granted >= new_from or on.reached(law.day(f"{owner}_old_from", on)):
            return True
    return False


def owner_of(home: Home, law: Topic) -> str:
    """Under which name the pack holds the days from which this landlord is bound; some hold them for one alone."""
    if "private_new_from" not in law.values:
        return "social"
    social = home.unit.landlord == "registered_provider" and "social_new_from" in law.values
    return "social" if social else "private"
