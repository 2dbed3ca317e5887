"""What a reminder is about, and which milestone of it is reached on a day. Pure: no database, no clock."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta

LAPSED = "lapsed"
OWED = "owed"
"""Milestone of what is owed without a day in law: said once."""


@dataclass(frozen=True, slots=True)
class Concern:
    """One thing that somebody should know of.

    `cause` names the thing and the day it turns on, never the reader (`renewal:12:eng_eicr:eicr-1:2027-01-31`), so
    that a paper that was replaced is another cause. `milestone` is the last one reached on the day asked, so that
    what an outage left unsaid is said once, and not once for each milestone passed over. Concerns of one `group`
    are one line for whoever reads them: a paper of a building, say, that every home in it needs.
    """

    cause: str
    kind: str
    milestone: str
    unit_id: int
    landlord_id: int | None
    due: date | None
    code: str = ""
    of: str = ""
    party: str = ""
    group: str = ""


@dataclass(frozen=True, slots=True)
class Line:
    """A concern as a person reads it: what to do first, where, by when, and the page for it."""

    says: str
    home: str
    due: date | None
    late: bool
    url: str


def countdown(due: date, day: date, days: Sequence[int]) -> str:
    """The last milestone reached on `day`: "30" from 30 days before the last good day on, "lapsed" once that is over.

    `days` are days before, in any order; "" when none of them is reached.
    """
    left = (due - day).days
    if left < 0:
        return LAPSED
    return str(min((one for one in days if one >= left), default=""))


def since(start: date, day: date, steps: Sequence[int]) -> str:
    """The last milestone reached by what has waited since `start`: "+7" from 7 days after; "" when none is."""
    waited = (day - start).days
    reached = [one for one in steps if one <= waited]
    return f"+{max(reached)}" if reached else ""


def owed(due: date | None, day: date, before: Sequence[int], after: Sequence[int]) -> str:
    """The last milestone of a duty: counted down to its last day, then counted on while it is late."""
    if due is None:
        return OWED
    if day <= due:
        return countdown(due, day, before)
    return since(due, day, after) or LAPSED


def reached_on(concern: Concern) -> date | None:
    """The day on which a counted-down milestone was reached; None for one that lasts until its cause is gone."""
    if concern.due is None or not concern.milestone.isdecimal():
        return None
    return concern.due - timedelta(days=int(concern.milestone))
