"""What is written to a contractor and to whoever sent the job. Left with the outbox; sending is not done here."""

from collections.abc import Sequence
from typing import Any

from django.conf import settings
from django.template.loader import render_to_string
from django.urls import reverse

from inspections.models import Job, JobLink
from inspections.selectors.job_parts import DONE, Part, dangers, first_due, lines_in, parts_of
from inspections.selectors.jobs import day_words
from inspections.services.job_calendar import invitation
from inspections.services.job_sheet import job_sheet
from notifications import outbox
from portfolio.clock import Moment

KIND = "job"
BECAUSE = "A letting agent chose you for this work."


def live_parts(job: Job, moment: Moment) -> list[Part]:
    """What is still with the contractor."""
    live = job.items.filter(ended_at=None).values_list("defect_id", flat=True)
    return parts_of(live, job.contractor, day=moment.day)


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
    subject = render_to_string("emails/job/subject.txt", page).strip()
    text = render_to_string("emails/job/body.txt", page).strip() + "\n"
    return subject, text, render_to_string("emails/job/body.html", page)


def sent(job: Job, link: JobLink, token: str, *, again: bool, moment: Moment) -> None:
    """The job itself, with its link, its sheet and an entry for the calendar."""
    parts = live_parts(job, moment)
    entry = invitation(job, parts, moment=moment)
    subject, text, html = letter(
        job,
        parts,
        url=link_address(token),
        good_until=link.good_until,
        again=again,
        calendar=entry is not None,
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
        files=[sheet, *_calendar(entry, "REQUEST")],
        secrets=[link_address(token)],
        moment=moment,
    )


def taken_back(job: Job, parts: Sequence[Part], why: str, *, moment: Moment) -> None:
    entry = invitation(job, parts, moment=moment, cancel=True)
    _news(
        job,
        "taken_back",
        f"Do not go to {job}: it is taken back",
        "Please do not start this work, or tell the sender how far you are.",
        [f"The reason: {why}", "The link you had no longer works."],
        files=_calendar(entry, "CANCEL"),
        moment=moment,
    )


def day_proposed(job: Job, *, moment: Moment) -> None:
    """Whoever sent it has to let the contractor in; the contractor gets the entry for the calendar."""
    entry = _calendar(invitation(job, live_parts(job, moment), moment=moment), "REQUEST")
    about = [f"Homes: {'; '.join(part.address for part in live_parts(job, moment))}."]
    _news(
        job,
        f"day:{job.sequence}:sender",
        f"{job}: {job.contractor} proposes {day_words(job)}",
        "Tell whoever lives there, and see that the contractor can get in.",
        about,
        to_sender=True,
        files=entry,
        moment=moment,
    )
    _news(
        job,
        f"day:{job.sequence}:contractor",
        f"{job}: you proposed {day_words(job)}",
        "Put this day in your calendar: an entry for it goes with this message.",
        [*about, "If the day no longer suits you, propose another one on the page of the job."],
        files=entry,
        moment=moment,
    )


def declined(job: Job, *, moment: Moment) -> None:
    _news(
        job,
        "declined",
        f"{job} declined by {job.contractor}",
        "Send its defects to another contractor: they are with nobody now.",
        [f"The reason: {job.declined_why}"],
        to_sender=True,
        moment=moment,
    )


def link_address(token: str) -> str:
    return f"{settings.SNECK_SITE}{reverse('job_link', args=[token])}"


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
    url = f"{settings.SNECK_SITE}{reverse('job', args=[job.pk])}" if to_sender else ""
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


def _calendar(entry: bytes | None, method: str) -> list[outbox.File]:
    if entry is None:
        return []
    return [outbox.File("visit.ics", f"text/calendar; charset=utf-8; method={method}", entry)]
