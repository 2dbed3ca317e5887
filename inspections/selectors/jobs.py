"""Jobs: the state of each in plain words, and the list of them, the late ones first."""

import re
from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from django.db.models import Count, Q, QuerySet

from inspections.models import Defect, Job, JobItem
from inspections.selectors.urgent import urgencies
from portfolio.models import Event

TAKEN_BACK = "taken back: "
DECLINED = "declined: "
"""How `closed_why` begins when a job was not closed by its last confirmation."""

_LIVE = Q(items__ended_at__isnull=True)
_DONE = _LIVE & Q(items__defect__completed__isnull=False)
_BACK = _LIVE & Q(items__defect__completed__isnull=True) & ~Q(items__defect__sent_back_why="")
COUNTS = {
    "n_items": Count("items", distinct=True),
    "n_live": Count("items", filter=_LIVE, distinct=True),
    "n_done": Count("items", filter=_DONE, distinct=True),
    "n_back": Count("items", filter=_BACK, distinct=True),
}
STATES = {
    "sent": "Sent, not read yet",
    "seen": "Read, not answered yet",
    "accepted": "Accepted, no day yet",
    "day": "Day proposed",
    "part": "Part of the work said to be done",
    "done": "All work said to be done",
    "back": "Proof sent back",
    "declined": "Declined",
    "taken_back": "Taken back",
    "confirmed": "Confirmed",
}
"""In the order in which a job goes through them."""
CLOSED = ("declined", "taken_back", "confirmed")
LINK = re.compile(r"/j/[A-Za-z0-9_-]+/")
HIDDEN = "/j/(known to the contractor alone)/"
"""Whoever confirms work must not be able to answer as the contractor who did it."""


@dataclass(frozen=True)
class State:
    """Where a job stands: a code of STATES, and a sentence."""

    code: str
    words: str

    @property
    def shape(self) -> str:
        """Its mark beside the words."""
        if self.code == "confirmed":
            return "met"
        return "not_met" if self.code in ("declined", "back") else "warn"


@dataclass(frozen=True)
class Letter:
    """A message about a job as our own people may read it: without the secret of its link."""

    made_at: datetime
    to_name: str
    to_email: str
    subject: str
    text: str
    files: list[str]


@dataclass(frozen=True)
class Row:
    job: Job
    state: State
    due: date | None
    """The earliest last day of what is not said to be done yet."""
    late: bool


def state_of(job: Job) -> State:
    """The state of a job, read off its days. Takes counts that a query put on it, or counts for itself."""
    counts: dict[str, Any] = {name: getattr(job, name, None) for name in COUNTS}
    if None in counts.values():
        counts = Job.objects.filter(pk=job.pk).aggregate(**COUNTS)
    return _closed(job) if job.closed_at else _open(job, **counts)


def _open(job: Job, *, n_items: int, n_live: int, n_done: int, n_back: int) -> State:
    confirmed = n_items - n_live
    if n_back:
        return State("back", f"Proof sent back: {n_back} of {n_items}")
    if n_done or confirmed:
        also = f", {confirmed} of them confirmed" if confirmed else ""
        says = f"work said to be done: {n_done + confirmed} of {n_items}{also}"
        return State("done" if n_done == n_live else "part", _first_up(says))
    if job.proposed is not None:
        return State("day", f"Day proposed: {day_words(job)}")
    if job.answer == "accepted":
        return State("accepted", STATES["accepted"])
    return State("seen", STATES["seen"]) if job.seen_at else State("sent", STATES["sent"])


def _closed(job: Job) -> State:
    if job.answer == "declined":
        return State("declined", f"Declined: {job.declined_why}")
    if job.closed_why.startswith(TAKEN_BACK):
        return State("taken_back", _first_up(job.closed_why))
    return State("confirmed", f"Closed: {job.closed_why}")


def _first_up(says: str) -> str:
    return says[:1].upper() + says[1:]


def day_words(job: Job) -> str:
    """The proposed day with its hours, in words; "" without one."""
    if job.proposed is None:
        return ""
    hours = [f"{at:%H:%M}" for at in (job.proposed_from, job.proposed_to) if at is not None]
    span = f", {hours[0]} to {hours[1]}" if len(hours) == 2 else f", from {hours[0]}" if hours else ""
    return f"{job.proposed:%-d %b %Y}{span}"


def counted(jobs: "QuerySet[Job]") -> "QuerySet[Job]":
    """With what `state_of` needs, and what a row of the list shows."""
    return jobs.select_related("contractor", "sent_by", "agency").annotate(**COUNTS)


def dues_of(jobs: "QuerySet[Job]") -> dict[int, date]:
    """The earliest last day of each of these jobs, by its id, of what is not said to be done yet."""
    items = JobItem.objects.filter(job__in=jobs.values("pk"), ended_at=None, defect__completed=None)
    pairs = list(items.values_list("job_id", "defect_id"))
    days = urgencies(Defect.objects.filter(items__in=items)) if pairs else {}
    found: dict[int, date] = {}
    for job, defect in pairs:
        due = days[defect].asked_by
        if due is not None:
            found[job] = min(due, found.get(job, due))
    return found


def listed(jobs: "QuerySet[Job]", *, state: str = "", day: date) -> list[int]:
    """The ids of these jobs in order: late ones, then by their last day, then closed ones, the latest first.

    `state`: "open", "late", "closed", one of STATES, or "" for all.
    """
    plain = jobs.order_by()
    still_open = list(plain.filter(closed_at=None).annotate(**COUNTS).order_by("number"))
    dues = dues_of(plain.filter(closed_at=None))
    shown = [job for job in still_open if _wanted(job, state, dues.get(job.pk), day)]
    shown.sort(key=lambda job: (dues.get(job.pk, date.max), job.number))
    if state in ("open", "late", *(code for code in STATES if code not in CLOSED)):
        return [job.pk for job in shown]
    shut = plain.filter(closed_at__isnull=False).order_by("-closed_at", "-pk")
    return [job.pk for job in shown] + list(_shut(shut, state).values_list("pk", flat=True))


def _wanted(job: Job, state: str, due: date | None, day: date) -> bool:
    if state in ("", "open"):
        return True
    if state == "late":
        return due is not None and due < day
    return state not in CLOSED and state_of(job).code == state


def _shut(shut: "QuerySet[Job]", state: str) -> "QuerySet[Job]":
    taken_back = Q(closed_why__startswith=TAKEN_BACK)
    if state == "declined":
        return shut.filter(answer="declined")
    if state == "taken_back":
        return shut.filter(taken_back).exclude(answer="declined")
    if state == "confirmed":
        return shut.exclude(taken_back).exclude(answer="declined")
    return shut


def rows(ids: Iterable[int], *, day: date) -> list[Row]:
    """The jobs of one page of the list, in this order."""
    ids = list(ids)
    found = Job.objects.filter(pk__in=ids)
    jobs = {job.pk: job for job in counted(found)}
    dues = dues_of(found.filter(closed_at=None))
    return [
        Row(jobs[pk], state_of(jobs[pk]), due := dues.get(pk), due is not None and due < day) for pk in ids
    ]


def events_of(job: Job) -> "QuerySet[Event]":
    """The lines of record about this job, the oldest first."""
    return (
        Event.objects.filter(agency=job.agency_id, subject=f"job:{job.pk}")
        .select_related("actor")
        .order_by("seq")
    )


def messages_of(job: Job) -> list[Letter]:
    """What was written about this job, to whom, the oldest first."""
    agency: Any = job.agency
    about = agency.messages.filter(key__startswith=f"job:{job.pk}:").order_by("made_at", "pk")
    files: dict[int, list[str]] = defaultdict(list)
    for pk, name in about.filter(attachments__isnull=False).values_list("pk", "attachments__name"):
        files[pk].append(name)
    return [
        Letter(one.made_at, one.to_name, one.to_email, one.subject, LINK.sub(HIDDEN, one.text), files[one.pk])
        for one in about
    ]
