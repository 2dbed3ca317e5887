"""What a contractor does by the link of a job: reads it, takes or declines it, proposes a day, says what is done.

Each takes the link as well, if it came by one, and looks again under the lock whether it is still alive.
"""

import hashlib
from collections.abc import Sequence
from datetime import date, time, timedelta
from typing import Any
from uuid import UUID

from django.core.exceptions import ValidationError
from django.db import transaction

from inspections import words as own
from inspections.models import Defect, Evidence, Job, JobItem, JobLink
from inspections.selectors.jobs import DECLINED, day_words
from inspections.services import job_mail
from inspections.services.defects import NotAllowed, defect_claim_done
from inspections.services.defects import defect_made_safe as made_safe
from inspections.services.evidence import Paper, evidence_add_all, evidence_withdraw
from inspections.services.job_items import close
from inspections.services.registrations import why_not_send
from portfolio.clock import Moment
from portfolio.documents import Accepted
from portfolio.services.events import Happening, Verb, record
from portfolio.services.write import locked_unit, locked_units, save

FARTHEST = timedelta(days=366)
"""A day proposed farther off than this is a slip of the pen."""
MOST_DAYS = 20
"""Days proposed for one job: each is written to two people."""
MOST_BYTES = 1_000_000_000
"""Of all files that come by the link of one job."""
OVER = "This job is closed, or no longer yours. Ask whoever sent it."


class JobOver(NotAllowed):
    """The job is closed, the defect has left it, or the link is dead."""


def live_link(token: str, moment: Moment) -> JobLink | None:
    """The link of this secret, if its job is open and it is neither replaced nor past its day."""
    digest = hashlib.sha256(token.encode()).hexdigest()
    links = JobLink.objects.select_related("job__agency", "job__contractor", "job__sent_by")
    link = links.filter(token_sha256=digest, dead_at=None, job__closed_at=None).first()
    return link if link is not None and moment.at < link.good_until else None


def job_locked(
    job_id: int, link: JobLink | None = None, moment: Moment | None = None, *, homes: bool = False
) -> Job:
    """An open job under its lock, its homes locked before it if asked for. Raises JobOver."""
    if homes:
        units = JobItem.objects.filter(job=job_id, ended_at=None).values_list("defect__unit_id", flat=True)
        locked_units(units)
    jobs = Job.objects.select_for_update(of=("self",)).select_related("agency", "contractor", "sent_by")
    job = jobs.get(pk=job_id)
    if job.closed_at is not None:
        raise JobOver(OVER)
    if link is not None:
        held = JobLink.objects.get(pk=link.pk)
        if held.job_id != job.pk or held.dead_at is not None or (moment and moment.at >= held.good_until):
            raise JobOver(OVER)
    return job


@transaction.atomic
def job_seen(job_id: int, *, link: JobLink | None = None, actor: Any = None, moment: Moment) -> Job:
    """The contractor says that it is read. Said again, it changes nothing. Raises JobOver."""
    job = job_locked(job_id, link, moment)
    if job.seen_at is None:
        job.seen_at = moment.at
        save(job, actor=actor, moment=moment)
        _tell(job, Verb.JOB_SEEN, f"{job} read by {job.contractor}.", actor=actor, moment=moment)
    return job


@transaction.atomic
def job_answer(
    job_id: int,
    *,
    answer: str,
    why: str = "",
    link: JobLink | None = None,
    actor: Any = None,
    moment: Moment,
) -> Job:
    """Take the job, or decline it with a reason, which closes it. Raises ValidationError, JobOver, NotAllowed."""
    if answer not in own.ANSWER:
        raise ValidationError({"answer": "Accept the job or decline it."})
    job = job_locked(job_id, link, moment, homes=answer == "declined")
    if answer == "declined":
        return _decline(job, why.strip(), actor, moment)
    if job.answer != answer:
        job.answer, job.answered_at, job.seen_at = answer, moment.at, job.seen_at or moment.at
        save(job, actor=actor, moment=moment)
        _tell(job, Verb.JOB_ANSWERED, f"{job} accepted by {job.contractor}.", actor=actor, moment=moment)
    return job


def _decline(job: Job, why: str, actor: Any, moment: Moment) -> Job:
    if not why:
        raise ValidationError({"why": "Say why you decline, so that the sender can choose somebody else."})
    items = list(job.items.filter(ended_at=None).select_related("defect"))
    if any(item.defect.completed for item in items):
        raise NotAllowed(
            "You said that some of the work is done, so the job cannot be declined. Ask the sender."
        )
    parts = job_mail.live_parts(job, moment)
    for item in items:
        item.ended_at = moment.at
        save(item, actor=actor, moment=moment)
    job.answer, job.answered_at, job.declined_why = "declined", moment.at, why
    job.sequence += 1
    job.seen_at = job.seen_at or moment.at
    says = f"{job} declined by {job.contractor}: {why}"
    save(job, actor=actor, moment=moment)
    _tell(job, Verb.JOB_ANSWERED, says, actor=actor, moment=moment)
    close(job, why=f"{DECLINED}{why}", actor=actor, moment=moment)
    job_mail.declined(job, parts, moment=moment)
    return job


@transaction.atomic
def job_propose_day(
    job_id: int,
    *,
    day: date,
    start: time | None = None,
    end: time | None = None,
    link: JobLink | None = None,
    actor: Any = None,
    moment: Moment,
) -> Job:
    """Propose a day, with hours or without. Raises ValidationError, JobOver."""
    job = job_locked(job_id, link, moment)
    if day < moment.day:
        raise ValidationError({"day": "This day is past. Choose today or a later day."})
    if day - moment.day > FARTHEST:
        raise ValidationError({"day": "This day is more than a year off. Check the year."})
    if end is not None and start is None:
        raise ValidationError({"start": "Say from when, or leave both times empty."})
    if start is not None and end is not None and end <= start:
        raise ValidationError({"end": "The end has to be later than the beginning."})
    if (day, start, end) == (job.proposed, job.proposed_from, job.proposed_to):
        return job
    if job_mail.days_told(job) >= MOST_DAYS:
        raise NotAllowed(
            f"You proposed {MOST_DAYS} days for this job already. Ring {job.sent_by} of {job.agency}."
        )
    job.proposed, job.proposed_from, job.proposed_to = day, start, end
    job.sequence += 1
    job.seen_at = job.seen_at or moment.at
    save(job, actor=actor, moment=moment)
    says = f"{job}: {job.contractor} proposes {day_words(job)}."
    _tell(job, Verb.JOB_DAY_PROPOSED, says, actor=actor, moment=moment)
    job_mail.day_proposed(job, moment=moment)
    return job


@transaction.atomic
def job_made_safe(
    job_id: int, defect_id: int, *, on: date, how: str, link: JobLink | None = None, moment: Moment
) -> Defect:
    """The contractor made it safe for now, which lifts no bar. Raises ValidationError, NotAllowed, JobOver."""
    job, defect = _in_job(job_id, defect_id, link, moment)
    return made_safe(defect.pk, on=on, how=how, actor=None, moment=moment, contractor=job.contractor)


@transaction.atomic
def job_claim_done(
    job_id: int, defect_id: int, *, on: date, work: str, link: JobLink | None = None, moment: Moment
) -> Defect:
    """The contractor says that it is put right. Raises ValidationError, NotAllowed, JobOver.

    Refused when the firm's trade or registration does not hold on the day of the work.
    """
    job, defect = _in_job(job_id, defect_id, link, moment)
    if defect.completed is not None:
        raise NotAllowed("You said already that this is done. It waits for somebody to confirm it.")
    if not work:
        raise ValidationError(
            {"work": "Say what kind of work was done: on it depends which paper has to come back."}
        )
    if on > moment.day:
        raise ValidationError({"on": "This day lies in the future. Say it when the work is done."})
    if refused := why_not_send(job.contractor, [defect], on):
        raise NotAllowed(
            f"{' '.join(refused)} If you are registered, ask {job.sent_by} of {job.agency} to record it, "
            "then send this again."
        )
    return defect_claim_done(
        defect.pk, on=on, work=work, actor=None, moment=moment, contractor=job.contractor
    )


@transaction.atomic
def job_proof_add(
    job_id: int,
    defect_id: int,
    *,
    key: UUID,
    accepted: Sequence[Accepted],
    says: str = "",
    paper: Paper | None = None,
    link: JobLink | None = None,
    moment: Moment,
) -> list[Evidence]:
    """Photos, papers or a statement of the state after the work. Raises ValidationError, NotAllowed, JobOver."""
    job, defect = _in_job(job_id, defect_id, link, moment)
    _check_bytes(job, accepted)
    return evidence_add_all(
        defect.pk,
        key=key,
        stage="after",
        accepted=accepted,
        says=says,
        paper=paper,
        actor=None,
        moment=moment,
        contractor=job.contractor,
    )


@transaction.atomic
def job_proof_withdraw(
    job_id: int, evidence_id: int, *, why: str, link: JobLink | None = None, moment: Moment
) -> Evidence:
    """The contractor relies no longer on a piece that it brought. Raises ValidationError, NotAllowed, JobOver."""
    defect_id = Evidence.objects.values_list("defect_id", flat=True).get(pk=evidence_id)
    job, _ = _in_job(job_id, defect_id, link, moment)
    return evidence_withdraw(evidence_id, why=why, actor=None, moment=moment, contractor=job.contractor)


def _check_bytes(job: Job, accepted: Sequence[Accepted]) -> None:
    """Whoever has the link, or finds it, must not fill the disk. Raises NotAllowed."""
    brought = Evidence.objects.filter(
        defect__items__job=job, contractor=job.contractor, document__isnull=False
    )
    held = dict(brought.values_list("document__sha256", "document__size"))
    held |= {file.sha256: len(file.content) for file in accepted}
    if sum(held.values()) > MOST_BYTES:
        raise NotAllowed("This job has taken as many files as it can. Ask the sender how to bring the rest.")


def _in_job(job_id: int, defect_id: int, link: JobLink | None, moment: Moment) -> tuple[Job, Defect]:
    """The job and a defect still in it, under the locks of its home and of the job. Raises JobOver."""
    unit = Defect.objects.filter(items__job=job_id, pk=defect_id).values_list("unit_id", flat=True).first()
    if unit is None:
        raise JobOver(OVER)
    locked_unit(unit)
    job = job_locked(job_id, link, moment)
    if not job.items.filter(defect=defect_id, ended_at=None).exists():
        raise JobOver("This defect is no longer in your job: it is confirmed or taken back.")
    return job, Defect.objects.select_related("unit__building").get(pk=defect_id)


def _tell(job: Job, verb: Verb, says: str, *, actor: Any, moment: Moment) -> None:
    data = {"contractor": job.contractor_id, "by": str(actor or job.contractor)}
    happening = Happening(verb, f"job:{job.pk}", says, None, data)
    record([happening], agency_id=job.agency_id, actor=actor, moment=moment)
