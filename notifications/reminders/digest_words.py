"""A digest in words: what to do first, what is due by kind, and how much of what was said before is still open."""

from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from datetime import date
from textwrap import shorten
from typing import Any

from django.template.loader import render_to_string

from inspections.services.tell import address
from notifications import unsubscribe
from notifications.outbox import Draft
from notifications.reminders.plan import Concern, Line
from notifications.reminders.readers import Reader
from notifications.words import ABOUT

MOST_LINES = 15
"""Of one kind in a digest; the rest is counted, with a link to the list that holds it."""
PAGES = {
    "renewal": "calendar",
    "duty": "duties",
    "job_unanswered": "jobs",
    "proof_to_confirm": "proof",
    "proof_needed": "open_defects",
}
"""The page that lists all there is of each kind."""
BECAUSE = {
    "agent": "You look after these homes.",
    "inspector": "Work in these homes waits for somebody to look at it.",
    "landlord": "These homes are yours.",
}
LONGEST_SAYS, LONGEST_HOME = 80, 60
"""Characters in a subject: lists of mail show no more."""


@dataclass(frozen=True, slots=True)
class Told:
    """A line with its last day in words."""

    line: Line
    when: str


@dataclass(frozen=True, slots=True)
class Section:
    """What there is of one kind: the first lines of it, and how many more there are."""

    kind: str
    lines: list[Told]
    more: int
    first: Concern
    url: str
    """The page that lists what is not shown."""

    @property
    def title(self) -> str:
        return ABOUT[self.kind]

    @property
    def count(self) -> int:
        return len(self.lines) + self.more


def section(
    kind: str,
    concerns: Sequence[Concern],
    lines_of: Callable[[Sequence[Concern], date], list[Line]],
    day: date,
) -> Section:
    """Concerns of one kind, the most pressing first; those of one group are one line."""
    groups = Counter(one.group or one.cause for one in concerns)
    firsts = list({one.group or one.cause: one for one in reversed(concerns)}.values())[::-1]
    shown = firsts[:MOST_LINES]
    lines = [
        Told(_with_others(line, groups[one.group or one.cause] - 1), when(line, day))
        for one, line in zip(shown, lines_of(shown, day), strict=True)
    ]
    hidden = firsts[MOST_LINES:]
    return Section(kind, lines, len(hidden), firsts[0], _list_of(kind, hidden[:1], day))


def _list_of(kind: str, hidden: Sequence[Concern], day: date) -> str:
    """The page that lists all of a kind. What ran out stands in no calendar, but bars its home on the board."""
    ran_out = kind == "renewal" and any(one.due is not None and one.due < day for one in hidden)
    return address("homes") + "?answer=not-let" if ran_out else address(PAGES[kind])


def draft_of(
    reader: Reader, agency_id: int, sections: Sequence[Section], rest: Sequence[Concern], *, day: date
) -> Draft:
    """The message: `sections` is what is new, `rest` what was said before and is still open."""
    first = _most_pressing(sections, day)
    stop = unsubscribe.address(reader.user_id or 0)
    page: dict[str, Any] = {
        "reader": reader,
        "day": day,
        "first": first,
        "sections": sections,
        "open": _still_open(rest, day),
        "because": f"{BECAUSE[reader.role]} What is due is told once a day, each thing when its day comes near.",
        "telling": address("telling"),
        "stop": stop,
    }
    return Draft(
        key=f"digest:{reader.part}:{day.isoformat()}",
        kind="digest",
        because=page["because"],
        agency_id=agency_id,
        to_name=reader.name,
        to_email=reader.email,
        to_user_id=reader.user_id,
        subject=_subject(first, sum(one.count for one in sections)),
        text=render_to_string("emails/digest/body.txt", page).strip() + "\n",
        html=render_to_string("emails/digest/body.html", page),
        secrets=[stop],
    )


def when(line: Line, day: date) -> str:
    """The last day of a line, as the end of a sentence; "" where there is none."""
    if line.due is None:
        return ""
    told = f"{line.due:%-d %B %Y}"
    if line.due == day:
        return f"today, {told}, is the last day"
    return f"the last day was {told}" if line.due < day else f"by {told}"


def _with_others(line: Line, others: int) -> Line:
    if not others:
        return line
    return replace(line, home=f"{line.home}, and {others} more {'home' if others == 1 else 'homes'} there")


def _most_pressing(sections: Sequence[Section], day: date) -> Told:
    """The first line of the section whose first concern has the earliest last day."""
    pressing = min(sections, key=lambda one: (one.first.due is None, one.first.due or day))
    return pressing.lines[0]


def _subject(first: Told, count: int) -> str:
    told = replace(
        first.line,
        says=shorten(first.line.says, LONGEST_SAYS, placeholder="…"),
        home=shorten(first.line.home, LONGEST_HOME, placeholder="…"),
    )
    page = {"line": told, "more": count - 1}
    return render_to_string("emails/digest/subject.txt", page).strip()


def _still_open(rest: Sequence[Concern], day: date) -> list[str]:
    """For each kind, how much was said before and is still so."""
    told = []
    for kind, title in ABOUT.items():
        here = {one.group or one.cause: one for one in rest if one.kind == kind}.values()
        late = sum(one.due is not None and one.due < day for one in here)
        if here:
            told.append(f"{title}: {len(here)}{f', {late} of them late' if late else ''}")
    return told
