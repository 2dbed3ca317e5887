"""What a reminder is about, and which milestone of it is reached on a day. Pure: no database, no clock."""

from dataclasses import dataclass
from datetime import date


@dataclass(frozen=True, slots=True)
class Concern:
    """One thing that somebody should know of.

    `cause` names the thing and the day it turns on, never the reader (`renewal:12:eng_eicr:eicr-1:2027-01-31`), so
    that a paper that was replaced is another cause. `milestone` is the last one reached on the day asked, so that
    what an outage left unsaid is said once, and not once for each milestone passed over.
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


@dataclass(frozen=True, slots=True)
class Line:
    """A concern as a person reads it: what to do first, where, by when, and the page for it."""

    says: str
    home: str
    due: date | None
    late: bool
    url: str
