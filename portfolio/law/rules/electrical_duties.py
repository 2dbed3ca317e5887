"""What follows an electrical report: copies, the work it asks for, telling people, and a council's notice."""

from collections.abc import Callable, Iterable
from datetime import date
from functools import partial

from ..dates import AsOn, days_starting_with, within_days_of
from ..home import Home, Papers
from ..lawbook import Finding, Topic
from ..model import CODES, Act, Certificate, Defect, Duty, Tenancy
from .duties import copy_due, duty, owed_to_tenants, reported
from .electrical import REACH, failing, outside, owner_of
from .licensing import needs_shared_licence
from .registry import rule

_SINCE = {"private_new_from": date, "private_old_duties_from": date}
_DAYS = (
    "copy_days", "prospect_copy_days", "council_copy_days", "remedial_days", "confirm_days", "notice_days",
)  # fmt: skip
_NEEDS = {**REACH, **_SINCE, **dict.fromkeys(_DAYS, int), "failing_codes": list}
_DUTIES = (
    "copy_to_tenant", "copy_to_prospect", "copy_to_council", "remedial_work", "confirm_to_tenant",
    "confirm_to_council", "remedial_notice",
)  # fmt: skip


@rule(_NEEDS, duties=_DUTIES)
def report_duties(home: Home, law: Topic, on: AsOn) -> Finding:
    """Copies, remedial work and its confirmation for the report that governs; SI 2020/312 regs 3(3)-(6) and 4-5."""
    if not home.has_papers or outside(home, law, on) is not None:
        return Finding()
    since = _since(home, law, on)
    earliest = min([since(one) for one in home.tenancies(on)] or [_new_from(home, law, on)])
    papers = home.papers("eicr", "inspected", on)
    latest = _dated(papers)
    copies, due_of = (
        [(paper.ref, day) for paper, day in latest],
        partial(copy_due, law.number("copy_days", on)),
    )
    found = owed_to_tenants(home, law, on, copies, since, due_of)
    found += on_request(home, law, on, papers, "prospect", "copy_to_prospect", "prospect_copy_days")
    found += on_request(home, law, on, papers, "council", "copy_to_council", "council_copy_days")
    for paper, day in latest:
        found += _after_failure(home, law, on, paper, day) if day >= earliest else []
    return reported(law, found + _notices(home, law, on, papers))


@rule(_NEEDS, duties=_DUTIES, reads=("ni_hmo",))
def report_duties_unless_licensed(home: Home, law: Topic, on: AsOn) -> Finding:
    """The same (SR 2024/201 reg 3), but not where a home needs a licence as a shared home."""
    licensed, _ = needs_shared_licence(home, law.shelf["ni_hmo"], on)
    return Finding() if licensed else report_duties(home, law, on)


@rule(REACH | _SINCE | {"copy_days": int}, duties=("copy_to_tenant", "confirm_to_tenant"))
def contract_duties(home: Home, law: Topic, on: AsOn) -> Finding:
    """The report, and confirmation of work done since, given to each contract-holder; WSI 2022/6 reg 6(3)-(5).

    The days start with the day the contract-holder may move in, or with the day of the inspection or the work
    where that comes later. How many they are goes by the law of that first day.
    """
    if not home.unit.tenancies or not home.has_papers or outside(home, law, on) is not None:
        return Finding()
    since, due_of = _since(home, law, on), partial(_contract_due, law)
    latest = _dated(home.papers("eicr", "inspected", on))
    copies = [(paper.ref, day) for paper, day in latest]
    found = owed_to_tenants(home, law, on, copies, since, due_of, then_of=_contract_law)
    for paper, _ in latest:
        works = _finished(home.tied(paper.ref, "bs7671", CODES["bs7671"]), on)
        found += owed_to_tenants(
            home, law, on, works, since, due_of,
            name="confirm_to_tenant", act="confirmation_given", also=(paper.ref,), then_of=_contract_law,
        )  # fmt: skip
    return reported(law, found)


def _contract_due(law: Topic, tenancy: Tenancy, day: date) -> date | None:
    if tenancy.starts is None:
        return None
    first = max(tenancy.starts, day)
    return days_starting_with(first, law.number("copy_days", AsOn(first)))


def _contract_law(tenancy: Tenancy, day: date) -> AsOn | None:
    """The first of the days, by whose law they are counted."""
    return None if tenancy.starts is None else AsOn(max(tenancy.starts, day))


@rule(REACH | _SINCE | {"copy_before_start": bool}, duties=("copy_to_tenant",))
def record_duties(home: Home, law: Topic, on: AsOn) -> Finding:
    """A copy of the latest record before the tenancy starts, and of each later one; no days are set for those.

    Housing (Scotland) Act 2006 s.19B.
    """
    if not home.unit.tenancies or not home.has_papers or outside(home, law, on) is not None:
        return Finding()
    latest = [(paper.ref, day) for paper, day in _dated(home.papers("eicr", "inspected", on))]
    found = owed_to_tenants(
        home, law, on, latest, _since(home, law, on), _before_start, value="copy_before_start"
    )
    return reported(law, found)


def _before_start(tenancy: Tenancy, day: date) -> date | None:
    return None if tenancy.starts is None or tenancy.starts <= day else tenancy.starts


def _dated(papers: Papers) -> list[tuple[Certificate, date]]:
    return [(paper, paper.inspected) for paper in papers.latest() if paper.inspected is not None]


def _new_from(home: Home, law: Topic, on: AsOn) -> date:
    return max(law.begins, law.day(f"{owner_of(home, law)}_new_from", on))


def _since(home: Home, law: Topic, on: AsOn) -> Callable[[Tenancy], date]:
    """From which day the duties bind towards a tenancy: those granted before the law began came in later."""
    owner = owner_of(home, law)
    new_from, old_from = law.day(f"{owner}_new_from", on), law.day(f"{owner}_old_duties_from", on)

    def since(tenancy: Tenancy) -> date:
        granted = tenancy.granted or tenancy.starts
        return max(law.begins, new_from) if granted is None or granted >= new_from else old_from

    return since


def on_request(
    home: Home, law: Topic, on: AsOn, papers: Papers, party: str, name: str, value: str
) -> list[Duty]:
    """A prospective tenant or the council asked in writing for the last paper, there being one."""
    if not home.unit.events or not papers.counted:
        return []
    refs = [paper.ref for _, paper in papers.counted]
    requests = home.acts("request_received", party, (None, *refs), on)
    given = home.acts("copy_given", party, refs, on) if requests else []
    found = []
    for asked in requests:
        if asked >= papers.counted[0][0]:
            due, done = within_days_of(asked, law.number(value, on)), any(day >= asked for day in given)
            of = papers.latest()[0].ref
            found.append(duty(law, name, due, done, on, value=value, party=party, of=of))
    return found


def _after_failure(home: Home, law: Topic, on: AsOn, paper: Certificate, day: date) -> list[Duty]:
    """The work a failing report asks for, and telling the tenant and the council once it is done."""
    defects = failing(home, law, on, paper)
    if paper.outcome != "unsatisfactory" and not defects:
        return []
    days = law.number("remedial_days", on)
    if paper.remedy_within_days is not None:
        days = max(1, min(days, paper.remedy_within_days))
    ends = [end for _, end in _finished(defects, on)]
    done = bool(defects) and len(ends) == len(defects)
    due = days_starting_with(day, days)
    work = duty(law, "remedial_work", due, done, on, value="remedial_days", of=paper.ref)
    return [work, *(_confirmations(home, law, on, paper, defects, max(ends)) if done else [])]


def _finished(defects: Iterable[Defect], on: AsOn) -> list[tuple[str, date]]:
    """Those on which the work is done by the day, each with the day it was; confirmed counts as done."""
    ends = ((one.ref, one.completed or one.confirmed) for one in defects)
    return [(ref, end) for ref, end in ends if end is not None and on.reached(end)]


def _confirmations(
    home: Home, law: Topic, on: AsOn, paper: Certificate, defects: tuple[Defect, ...], finished: date
) -> list[Duty]:
    """Within 28 days of the work's completion, to the council and to each tenant living there then.

    A confirmation given before the work was done confirms nothing.
    """
    due = within_days_of(finished, law.number("confirm_days", on))
    lived_in = any(t.starts is None or t.starts <= finished for t in home.running(on))
    found = []
    for party in ("tenant", "council") if lived_in else ("council",):
        done = _is_confirmed(home, on, party, paper.ref, finished) or all(
            _is_confirmed(home, on, party, d.ref, d.completed or d.confirmed or finished) for d in defects
        )
        found.append(
            duty(law, f"confirm_to_{party}", due, done, on, value="confirm_days", party=party, of=paper.ref)
        )
    return found


def _is_confirmed(home: Home, on: AsOn, party: str, of: str, since: date) -> bool:
    return any(day >= since for day in home.acts("confirmation_given", party, (of,), on))


def _notices(home: Home, law: Topic, on: AsOn, papers: Papers) -> list[Duty]:
    """A council's notice about a report or an electrical defect: the work is done within days of its service.

    The day of service is the first of them. A notice with no day has been served, nobody can say when. It is
    answered when the work on what it is about is done, or once the council has been told so.
    """
    served = [one for one in home.acts_of("notice_served") if one.party == "council"]
    if not served:
        return []
    reports = {paper.ref: paper for _, paper in papers.counted}
    defects = {one.ref: one for one in home.defects or () if one.scheme == "bs7671"}
    found = []
    for notice in served:
        of = notice.of or ""
        if (of in reports or of in defects) and (notice.on is None or on.reached(notice.on)):
            about = failing(home, law, on, reports[of]) if of in reports else (defects[of],)
            found.append(_notice(home, law, on, notice, about))
    return found


def _notice(home: Home, law: Topic, on: AsOn, notice: Act, about: tuple[Defect, ...]) -> Duty:
    due = None if notice.on is None else days_starting_with(notice.on, law.number("notice_days", on))
    told = home.acts("confirmation_given", "council", (notice.of,), on)
    done = any(notice.on is None or day >= notice.on for day in told)
    done = done or (bool(about) and len(_finished(about, on)) == len(about))
    return duty(law, "remedial_notice", due, done, on, value="notice_days", party="council", of=notice.of)
