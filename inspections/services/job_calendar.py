"""The entry in a calendar that goes with a job: asked for with its mail, moved with each proposed day, cancelled."""

from collections.abc import Sequence
from datetime import date, datetime, timedelta
from email.utils import parseaddr
from typing import Any
from urllib.parse import quote

from django.conf import settings

from inspections.models import Job
from inspections.selectors.job_parts import Part, first_due, lines_in
from portfolio import ical
from portfolio.clock import LONDON, Moment

HOURS_UNSAID = timedelta(hours=1)
"""How long a visit is shown as when only its beginning was said."""


def invitation(
    job: Job, parts: Sequence[Part], *, moment: Moment, cancel: bool = False, copy: bool = False
) -> bytes | None:
    """The entry as iCalendar bytes; None where there is no day to name, unless it is to be cancelled all the same.

    The proposed day in London's time, or until there is one the last day for the work, as a whole day. Known by one
    UID all its life, with `job.sequence` raised at each change. `copy`: for somebody not invited who is to know.
    """
    day = job.proposed or _last_day(parts, moment, cancel)
    if day is None and not cancel:
        return None
    calendar = ical.new_calendar("jobs")
    calendar.add("method", method_of(cancel=cancel, copy=copy))
    if hours_of(job):
        ical.add_london(calendar)
    event = _event(job, parts, day, moment, cancel)
    if not copy:
        event.add("attendee", _invited(job))
    calendar.add_component(event)
    return bytes(calendar.to_ical())


def method_of(*, cancel: bool, copy: bool) -> str:
    """What the reader's program is to do with it (RFC 5546)."""
    return "CANCEL" if cancel else "PUBLISH" if copy else "REQUEST"


def entry_day(job: Job, parts: Sequence[Part], moment: Moment) -> date | None:
    """The day on which it stands in the contractor's calendar, whatever of the work is done."""
    return job.proposed or _last_day(parts, moment, True)


def uid(job: Job) -> str:
    return ical.uid(f"job-{job.pk}")


def _event(job: Job, parts: Sequence[Part], day: date | None, moment: Moment, cancel: bool) -> Any:
    from icalendar import Event

    event = Event()
    event.add("uid", uid(job))
    event.add("sequence", job.sequence)
    event.add("dtstamp", moment.at)
    if day is not None:
        start, end = hours_of(job) or (day, day + timedelta(days=1))
        event.add("dtstart", start)
        event.add("dtend", end)
    event.add("summary", ical.text(_summary(job, parts)))
    event.add("location", ical.text("; ".join(part.address for part in parts)))
    event.add("description", "What is wrong, how to get in and how to answer stand in the mail of this job.")
    event.add("status", "CANCELLED" if cancel else "CONFIRMED" if job.proposed else "TENTATIVE")
    # A last day is something to bear in mind; it fills no hours.
    event.add("transp", "OPAQUE" if job.proposed else "TRANSPARENT")
    event.add("organizer", _person(job.agency.name, parseaddr(settings.DEFAULT_FROM_EMAIL)[1]))
    return event


def _invited(job: Job) -> Any:
    """The contractor; who proposed the day need not say again that it suits."""
    said = "ACCEPTED" if job.proposed else "NEEDS-ACTION"
    return _person(job.contractor.name, job.contractor.email, partstat=said, rsvp="FALSE")


def hours_of(job: Job) -> tuple[datetime, datetime] | None:
    """When the visit begins and ends, in London's time; None where no hours were proposed."""
    if job.proposed is None or job.proposed_from is None:
        return None
    start = datetime.combine(job.proposed, job.proposed_from, LONDON)
    if job.proposed_to is None:
        return start, start + HOURS_UNSAID
    return start, datetime.combine(job.proposed, job.proposed_to, LONDON)


def _last_day(parts: Sequence[Part], moment: Moment, whole: bool) -> date | None:
    """What is late is to be done today. `whole`: what is said to be done counts too."""
    due = first_due(parts, whole=whole)
    return None if due is None else max(due, moment.day)


def _summary(job: Job, parts: Sequence[Part]) -> str:
    many = len(lines_in(parts))
    what = f"{job}: {many} defect{'' if many == 1 else 's'}"
    homes = str(parts[0].unit) if len(parts) == 1 else f"{len(parts)} homes"
    return f"{what}, {homes}" if job.proposed else f"Last day for {what[0].lower()}{what[1:]}, {homes}"


def _person(name: str, email: str, **more: str) -> Any:
    from icalendar import vCalAddress, vText

    person = vCalAddress(f"mailto:{quote(email, safe='@+')}")
    for key, value in {"cn": name, **more}.items():
        person.params[key] = vText(value)
    return person
