"""What is written to a contractor and to whoever sent the job. Left with the outbox; sending is not done here."""

from collections.abc import Sequence
from typing import Any

from django.template.loader import render_to_string

from inspections.models import Job, JobLink
from inspections.selectors.job_parts import DONE, Part, dangers, first_due, lines_in, parts_of
from inspections.selectors.jobs import day_words
from inspections.services.job_calendar import entry_day, invitation, method_of
from inspections.services.job_sheet import job_sheet
from inspections.services.tell import address
from notifications import outbox
from portfolio.clock import Moment

KIND = "job"
BECAUSE = "A letting agent chose you for this work."
ENTRY = "visit.ics"
LINK_DEAD = "The link you had no longer works."


def live_parts(job: Job, moment: Moment) -> list[Part]:
    """What is still with the contractor."""
    live = job.items.filter(ended_at=None).values_list("defect_id", flat=True)
    return parts_of(live, job.contractor, day=moment.day)


def whole_parts(job: Job, moment: Moment) -> list[Part]:
    """All that was ever in it."""
    return parts_of(job.items.values_list("defect_id", flat=True), job.contractor, day=moment.day)


def letter(
    job: Job, parts: Sequence[Part], *, url: str, good_until: Any, again: bool, calendar: bool
) -> tuple[str, str, str]:
    """Subject, text and HTML of the mail that brings a job. The job may be one that is not kept, for trying it out."""
    page = {
        "job": job,
        "parts": parts,
        "many": len(lines_in(parts)),
        "where": str(parts[0].unit) if len(parts) == 1 else f"{len(parts)} homes",
        "due": first_due(parts),
        "late": any(line.late and line.state != DONE for line in lines_in(parts)),
        "dangers": dangers(parts),
        "url": url,
        "good_until": good_until,
        "again": again,
        "calendar": calendar,
        "because": BECAUSE,
    }
    return outbox.letter(KIND, page)


def sent(job: Job, link: JobLink, token: str, *, again: bool, moment: Moment) -> None:
    """The job itself, with its link, its sheet and an entry for the calendar."""
    parts = live_parts(job, moment)
    entry = _entry(job, parts, moment)
    subject, text, html = letter(
        job,
        parts,
        url=link_address(token),
        good_until=link.good_until,
        again=again,
        calendar=bool(entry),
    )
    sheet = outbox.File(f"job-{job.number}.pdf", "application/pdf", job_sheet(job, parts, moment=moment))
    _put(
        job,
        f"sent:{link.pk}",
        subject,
        text,
        html,
        because=BECAUSE,
        urgent=bool(dangers(parts)),
        files=[sheet, *entry],
        secrets=[link_address(token)],
        moment=moment,
    )


def taken_back(job: Job, parts: Sequence[Part], why: str, *, moment: Moment) -> None:
    """The contractor, and whoever let the homes know of the day. `parts`: what was with the contractor."""
    reason = f"The reason: {why}"
    _news(
        job,
        "taken_back",
        f"Do not go to {job}: it is taken back",
        "Please do not start this work, or tell the sender how far you are.",
        [reason, LINK_DEAD],
        files=_end(job, parts, moment),
        moment=moment,
    )
    _nobody_comes(job, parts, reason, moment)


def finished(job: Job, parts: Sequence[Part], *, moment: Moment) -> None:
    """All of it was confirmed: told if an entry for a day to come would else send the contractor there in vain."""
    day = entry_day(job, parts, moment)
    ended = _end(job, parts, moment)
    if not ended or day is None or (job.proposed or day) < moment.day:
        return
    _news(
        job,
        "finished",
        f"{job} is closed: nothing is left to do",
        "Do not go there for this job any more.",
        ["All of its work is confirmed as put right, or was taken back.", LINK_DEAD],
        files=ended,
        moment=moment,
    )
    _nobody_comes(job, parts, "All of its work is confirmed.", moment)


def day_proposed(job: Job, *, moment: Moment) -> None:
    """Whoever sent it has to let the contractor in; the contractor gets the entry for the calendar."""
    parts = live_parts(job, moment)
    about = [f"Homes: {'; '.join(part.address for part in parts)}."]
    _news(
        job,
        f"day:{job.sequence}:sender",
        f"{job}: {job.contractor} proposes {day_words(job)}",
        "Tell whoever lives there, and see that the contractor can get in.",
        about,
        to_sender=True,
        files=_entry(job, parts, moment, copy=True),
        moment=moment,
    )
    _news(
        job,
        f"day:{job.sequence}:contractor",
        f"{job}: you proposed {day_words(job)}",
        "Put this day in your calendar: an entry for it goes with this message.",
        [*about, "If the day no longer suits you, propose another one on the page of the job."],
        files=_entry(job, parts, moment),
        moment=moment,
    )


def days_told(job: Job) -> int:
    """How many days the contractor has proposed so far."""
    agency: Any = job.agency
    told = agency.messages.filter(key__startswith=f"job:{job.pk}:day:", key__endswith=":contractor")
    return int(told.count())


def declined(job: Job, parts: Sequence[Part], *, moment: Moment) -> None:
    """`parts`: what was with the contractor, in whose calendar it must not stay."""
    _news(
        job,
        "declined",
        f"{job} declined by {job.contractor}",
        "Send its defects to another contractor: they are with nobody now.",
        [f"The reason: {job.declined_why}"],
        to_sender=True,
        files=_end(job, parts, moment, copy=True),
        moment=moment,
    )
    ended = _end(job, parts, moment)
    if ended:
        _news(
            job,
            "you_declined",
            f"{job}: you declined it",
            "Nothing is left for you to do. Take it out of your calendar: an entry for that goes with this message.",
            [f"Your reason: {job.declined_why}", LINK_DEAD],
            files=ended,
            moment=moment,
        )


def _nobody_comes(job: Job, parts: Sequence[Part], why: str, moment: Moment) -> None:
    """Takes a day that is to come back from whoever sent the job, and may have told it to others."""
    ended = _end(job, parts, moment, copy=True)
    if not ended or job.proposed is None or job.proposed < moment.day:
        return
    _news(
        job,
        "nobody_comes",
        f"{job}: {job.contractor} does not come on {day_words(job)}",
        "Tell whoever lives there that nobody comes.",
        [f"Homes: {'; '.join(one.address for one in parts)}.", why],
        to_sender=True,
        files=ended,
        moment=moment,
    )


def link_address(token: str) -> str:
    return address("job_link", token)


def _news(
    job: Job,
    part: str,
    subject: str,
    first: str,
    lines: Sequence[str],
    *,
    to_sender: bool = False,
    files: Sequence[outbox.File] = (),
    moment: Moment,
) -> None:
    because = "You sent this job." if to_sender else BECAUSE
    url = address("job", job.pk) if to_sender else ""
    page = {"job": job, "first": first, "lines": lines, "because": because, "url": url}
    text = render_to_string("emails/job/news.txt", page).strip() + "\n"
    html = render_to_string("emails/job/news.html", page)
    _put(job, part, subject, text, html, because=because, to_sender=to_sender, files=files, moment=moment)


def _put(
    job: Job,
    part: str,
    subject: str,
    text: str,
    html: str,
    *,
    because: str,
    to_sender: bool = False,
    urgent: bool = False,
    files: Sequence[outbox.File] = (),
    secrets: Sequence[str] = (),
    moment: Moment,
) -> None:
    reader, other = (job.sent_by, job.contractor) if to_sender else (job.contractor, job.sent_by)
    draft = outbox.Draft(
        key=f"job:{job.pk}:{part}",
        kind=KIND,
        because=because,
        agency_id=job.agency_id,
        to_name=str(reader),
        to_email=reader.email,
        to_user_id=job.sent_by_id if to_sender else None,
        reply_to=other.email,
        subject=subject,
        text=text,
        html=html,
        urgent=urgent,
        files=files,
        secrets=secrets,
    )
    outbox.put(draft, at=moment.at)


def _entry(
    job: Job, parts: Sequence[Part], moment: Moment, *, cancel: bool = False, copy: bool = False
) -> list[outbox.File]:
    """The entry for a calendar as a file, if there is one. Its type has to say its method (RFC 6047)."""
    content = invitation(job, parts, moment=moment, cancel=cancel, copy=copy)
    if content is None:
        return []
    method = method_of(cancel=cancel, copy=copy)
    return [outbox.File(ENTRY, f"text/calendar; charset=utf-8; method={method}", content)]


def _end(job: Job, parts: Sequence[Part], moment: Moment, *, copy: bool = False) -> list[outbox.File]:
    """What takes the entry out of the calendar of the contractor, or of whoever has a copy; empty if none was sent."""
    agency: Any = job.agency
    written = agency.messages.filter(key__startswith=f"job:{job.pk}:", to_user__isnull=not copy)
    if not written.filter(attachments__name=ENTRY).exists():
        return []
    return _entry(job, parts, moment, cancel=True, copy=copy)
