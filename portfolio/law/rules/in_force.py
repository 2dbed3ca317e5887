"""Leave that somebody gives for a time: a licence or a registration in force, applied for, or run out."""

from datetime import date
from typing import NamedTuple

from ..dates import AsOn, add_years, day_after
from ..home import Home, Papers
from ..lawbook import Finding, Topic
from ..model import Certificate, Reason, State
from .scope import undated


class Leave(NamedTuple):
    """What is looked for among the papers, and what an application for it does."""

    kind: str
    """The kind of paper."""
    words: str
    lacking: str
    """The kind of reason, and what it says and cures, when there is none."""
    says: str
    cure: str
    years: int
    """It lasts this long at most; 0 when nobody has said how long."""
    fixed: bool = False
    """It lasts just as long unless something shorter is printed, so that no printed day need be recorded."""
    pending: str = ""
    """What is said of an undecided application that will do whenever it was made; empty where it will not."""
    continues: bool = False
    """An application made while it was in force keeps it in force until decided."""


def held(home: Home, law: Topic, on: AsOn, leave: Leave) -> Finding:
    """In force to its printed day, and at most to the anniversary that ends its longest term, which still counts.

    One that may be shorter, and whose last day nobody recorded, may be over any day up to the longest.
    """
    papers = home.papers(leave.kind, "issued", on)
    lasts = sorted((_last_good_day(p, day, leave), p.ref, _is_endless(p, leave)) for day, p in papers.counted)
    in_force = [(last, ref) for last, ref, endless in lasts if not endless and not on.passed(last)]
    if in_force:
        return Finding(State.MET, *in_force[-1])
    asked = _pending(home, on, papers, leave)
    if asked and leave.pending:
        return _awaited(law, on, leave, asked[-1])
    if leave.continues and (timely := [one for one in asked if _is_timely(one, lasts)]):
        return Finding(State.MET, None, timely[-1].ref)
    if unsure := _unsure(law, on, papers, lasts, leave, asked):
        return law.unknown(*unsure)
    last, ref = lasts[-1][:2] if lasts else (None, None)
    bar = law.reason(leave.lacking, leave.says, leave.cure, ref, day_after(last) if last else None)
    return Finding(State.NOT_MET, last, ref, (bar,))


def _last_good_day(paper: Certificate, issued: date, leave: Leave) -> date:
    longest = add_years(issued, leave.years) if leave.years else date.max
    return longest if paper.until is None else min(longest, paper.until)


def _is_endless(paper: Certificate, leave: Leave) -> bool:
    return paper.until is None and not (leave.fixed and leave.years)


def _pending(home: Home, on: AsOn, papers: Papers, leave: Leave) -> list[Certificate]:
    """Applications, oldest first, but for those that one issued since shows to have been decided."""
    made = home.papers(leave.kind, "applied", on).counted
    decided = papers.counted[-1][0] if papers.counted else None
    return [paper for applied, paper in made if decided is None or applied > decided]


def _is_timely(asked: Certificate, lasts: list[tuple[date, str, bool]]) -> bool:
    """Made on or before the last day of one that is known to have run until then."""
    applied = asked.applied or date.max
    return any(applied <= last for last, _, endless in lasts if not endless)


def _awaited(law: Topic, on: AsOn, leave: Leave, asked: Certificate) -> Finding:
    cure = "Press for the decision and record it."
    warning = law.reason("pending", leave.pending, cure, asked.ref, told=law.entry("pending_defence", on))
    return Finding(State.MET, None, asked.ref, warnings=(warning,), basis=warning.basis)


def _unsure(
    law: Topic, on: AsOn, papers: Papers, lasts: list[tuple[date, str, bool]], leave: Leave,
    asked: list[Certificate],
) -> list[Reason]:  # fmt: skip
    """Papers that may be what is wanted, but lack the day that would show it."""
    unplaced = [p for p in papers.undated if p.applied is None and not (p.until and on.passed(p.until))]
    found = [undated(law, p.ref, "issued", f"the {leave.words}") for p in unplaced]
    renewed = bool(asked) and leave.continues
    endless = [(last, ref) for last, ref, is_endless in lasts if is_endless]
    what = f"the last day printed on the {leave.words}"
    found += [
        law.unrecorded("until", what, of=ref)
        for last, ref in endless if renewed or not on.passed(last)
    ]  # fmt: skip
    return found
