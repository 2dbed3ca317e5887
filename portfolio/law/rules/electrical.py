"""The electrical installation condition report of a rented home in England (SI 2020/312)."""

from datetime import date
from math import floor

from ..dates import AsOn, add_months, add_years, day_after, days_starting_with, within_days_of
from ..home import Home, Papers
from ..lawbook import Finding, Topic
from ..model import Certificate, Defect, Duty, Reason, State
from .danger import open_danger
from .duties import copies_to_tenants, duty, reported
from .registry import rule
from .scope import (
    NOT_APPLICABLE,
    is_long_letting,
    is_settled,
    landlord_doubt,
    letting_doubt,
    no_list,
    undated,
    weighed,
)

_NEEDS = {
    "interval_years": int, "failing_codes": list, "long_letting_years": int,
    "private_new_from": date, "private_old_from": date, "social_new_from": date, "social_old_from": date,
}  # fmt: skip


@rule(_NEEDS)
def condition_report(home: Home, law: Topic, on: AsOn) -> Finding:
    """A satisfactory report no more than five years old, or younger where it says so; reg 3(1)-(2).

    The latest inspection governs. Because the wiring must meet the standard for as long as the home is
    occupied, an open C1, C2 or FI is a failure by law too, whatever the report said on its day.
    """
    if _is_outside(home, law, on):
        return NOT_APPLICABLE
    found = weighed(_report(home, law, on), landlord_doubt(home, law) + letting_doubt(home, law))
    if is_settled(found):
        return found
    return found._replace(continuing=_binds_running(home, law, on))


def _is_outside(home: Home, law: Topic, on: AsOn) -> bool:
    """Sch 1: shared with the landlord, long leases; registered providers until they were brought in."""
    landlord = home.unit.landlord
    if landlord == "resident" or is_long_letting(home, law.number("long_letting_years", on)):
        return True
    return landlord == "registered_provider" and not on.reached(law.day("social_new_from", on))


def _report(home: Home, law: Topic, on: AsOn) -> Finding:
    if not home.has_papers:
        return no_list(law, "certificates")
    codes = law.words("failing_codes", on)
    dangers = tuple(open_danger(law, d) for d in home.open_defects("bs7671", codes, on))
    papers = home.papers("eicr", "inspected", on)
    unknowns = [undated(law, p.ref, "inspected", "the electrical report") for p in papers.undated]
    if home.defects is None:
        unknowns.append(law.unrecorded("defects", "the list of defects, even if it is empty"))
    if papers.undated or not papers.counted:
        cure = "Have the installation inspected and tested."
        missing = law.reason("missing", "There is no electrical report.", cure)
        state = State.UNKNOWN if unknowns and not dangers else State.NOT_MET
        return Finding(state, problems=(*(unknowns or [missing]), *dangers))
    judged = [(p, last_good_day(p, law.number("interval_years", on))) for p in papers.latest()]
    faults = [_faults(home, law, on, p, last) for p, last in judged]
    due = min(last for _, last in judged)
    # Of several of one day the one at fault governs, then the one that ends first.
    *_, ref = min((not wrong, last, p.ref) for (p, last), wrong in zip(judged, faults, strict=True))
    problems = [r for wrong in faults for r in wrong] + list(dangers)
    unsure = unknowns + [r for r in problems if r.kind == "unknown"]
    failures = [r for r in problems if r.kind != "unknown"]
    state = State.NOT_MET if failures else State.UNKNOWN if unsure else State.MET
    return Finding(state, due, ref, tuple(unsure + failures))


def last_good_day(paper: Certificate, interval_years: int) -> date:
    """The anniversary, the shorter interval the report asks for, or the day printed on it: the earliest.

    Part years become whole months, rounded down.
    """
    if paper.inspected is None:
        raise ValueError(f"{paper.ref} has no day of inspection.")
    days = [add_years(paper.inspected, interval_years)]
    if paper.next_within_years is not None:
        years = max(0, min(paper.next_within_years, interval_years))
        days.append(add_months(paper.inspected, floor(12 * years)))
    if paper.until is not None:
        days.append(paper.until)
    return min(days)


def _faults(home: Home, law: Topic, on: AsOn, paper: Certificate, last: date) -> list[Reason]:
    """What is wrong with the governing report itself."""
    faults = []
    if paper.outcome is None:
        words = "whether the electrical report was satisfactory"
        faults.append(law.unrecorded("outcome", words, of=paper.ref))
    elif paper.outcome == "unsatisfactory" and not is_put_right(
        home, law.words("failing_codes", on), on, paper
    ):
        says = "The latest electrical report is unsatisfactory and is not confirmed as put right."
        cure = "Have every C1, C2 and FI on it put right and confirmed, or have a new inspection."
        faults.append(law.reason("failed", says, cure, of=paper.ref, since=paper.inspected))
    if on.passed(last):
        says = "The latest electrical report is out of date."
        cure = "Have the installation inspected and tested again."
        faults.append(law.reason("lapsed", says, cure, paper.ref, day_after(last), value="interval_years"))
    return faults


def _failing(home: Home, law: Topic, on: AsOn, paper: Certificate) -> tuple[Defect, ...]:
    return home.tied(paper.ref, "bs7671", law.words("failing_codes", on))


def is_put_right(home: Home, codes: tuple[str, ...], on: AsOn, paper: Certificate) -> bool:
    """An unsatisfactory report with no failing defect on record has defects that nobody recorded."""
    failing = home.tied(paper.ref, "bs7671", codes)
    return bool(failing) and all(d.confirmed is not None and on.reached(d.confirmed) for d in failing)


def _binds_running(home: Home, law: Topic, on: AsOn) -> bool:
    """Is any tenancy now running held to the regulations yet? Older tenancies were brought in later."""
    owner = "social" if home.unit.landlord == "registered_provider" else "private"
    new_from = law.day(f"{owner}_new_from", on)
    for tenancy in home.running(on):
        granted = tenancy.granted or tenancy.starts
        if granted is None or granted >= new_from or on.reached(law.day(f"{owner}_old_from", on)):
            return True
    return False


_DUTIES = (
    "copy_to_tenant", "copy_to_prospect", "copy_to_council", "remedial_work", "confirm_to_tenant",
    "confirm_to_council",
)  # fmt: skip
_CLOCKS = dict.fromkeys(
    ("copy_days", "prospect_copy_days", "council_copy_days", "remedial_days", "confirm_days"), int
)


@rule(_NEEDS | _CLOCKS, duties=_DUTIES)
def report_duties(home: Home, law: Topic, on: AsOn) -> Finding:
    """Copies, remedial work and its confirmation for the report that governs; reg 3(3)-(6)."""
    if _is_outside(home, law, on) or not home.has_papers:
        return Finding()
    social = home.unit.landlord == "registered_provider"
    since = law.day("social_new_from" if social else "private_new_from", on)
    papers = home.papers("eicr", "inspected", on)
    latest = [(p, p.inspected) for p in papers.latest() if p.inspected is not None]
    found = copies_to_tenants(home, law, on, [(p.ref, day) for p, day in latest], since)
    found += _on_request(home, law, on, papers)
    for paper, day in latest:
        found += _after_failure(home, law, on, paper, day) if day >= since else []
    return reported(law, found)


def _on_request(home: Home, law: Topic, on: AsOn, papers: Papers) -> list[Duty]:
    """A prospective tenant or the council asked in writing for the last report, there being one."""
    refs, found = [p.ref for _, p in papers.counted], []
    for party, value in (("prospect", "prospect_copy_days"), ("council", "council_copy_days")):
        given = home.acts("copy_given", party, refs, on)
        for asked in home.acts("request_received", party, (None, *refs), on):
            if not papers.counted or asked < papers.counted[0][0]:
                continue
            done = any(day >= asked for day in given)
            due = within_days_of(asked, law.number(value, on))
            of = papers.latest()[0].ref
            found.append(duty(law, f"copy_to_{party}", due, done, on, value=value, party=party, of=of))
    return found


def _after_failure(home: Home, law: Topic, on: AsOn, paper: Certificate, day: date) -> list[Duty]:
    """The work a failing report asks for, and telling the tenant and the council once it is done."""
    failing = _failing(home, law, on, paper)
    if paper.outcome != "unsatisfactory" and not failing:
        return []
    days = law.number("remedial_days", on)
    if paper.remedy_within_days is not None:
        days = max(1, min(days, paper.remedy_within_days))
    ends = [d.completed or d.confirmed for d in failing]
    known = [end for end in ends if end is not None and on.reached(end)]
    done = bool(ends) and len(known) == len(ends)
    due = days_starting_with(day, days)
    work = duty(law, "remedial_work", due, done, on, value="remedial_days", of=paper.ref)
    return [work, *(_confirmations(home, law, on, paper, failing, max(known)) if done else [])]


def _confirmations(
    home: Home, law: Topic, on: AsOn, paper: Certificate, failing: tuple[Defect, ...], finished: date
) -> list[Duty]:
    """Within 28 days of the work's completion, to the council and to each tenant living there then.

    A confirmation given before the work was done confirms nothing.
    """
    due = within_days_of(finished, law.number("confirm_days", on))
    lived_in = any(t.starts is None or t.starts <= finished for t in home.running(on))
    found = []
    for party in ("tenant", "council") if lived_in else ("council",):
        done = _is_confirmed(home, on, party, paper.ref, finished) or all(
            _is_confirmed(home, on, party, d.ref, d.completed or d.confirmed or finished) for d in failing
        )
        found.append(
            duty(law, f"confirm_to_{party}", due, done, on, value="confirm_days", party=party, of=paper.ref)
        )
    return found


def _is_confirmed(home: Home, on: AsOn, party: str, of: str, since: date) -> bool:
    return any(day >= since for day in home.acts("confirmation_given", party, (of,), on))
