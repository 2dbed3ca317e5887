"""A job, as the agent handles it: sent with its link, given a new link, taken back. What the contractor answers by
the link is in `job_answers`.

Locks are taken homes, contractor, job, then the agency's chain of events.
"""

import hashlib
import secrets
from collections.abc import Iterable, Sequence
from datetime import timedelta
from typing import Any

from django.conf import settings
from django.core.exceptions import ValidationError
from django.db import IntegrityError, transaction
from django.db.models import Max

from inspections.models import Contractor, Defect, Job, JobItem, JobLink
from inspections.selectors.job_parts import WITH
from inspections.selectors.jobs import TAKEN_BACK
from inspections.services import job_mail
from inspections.services.defects import NotAllowed
from inspections.services.job_answers import (
    JobOver,
    job_answer,
    job_claim_done,
    job_locked,
    job_made_safe,
    job_proof_add,
    job_proof_withdraw,
    job_propose_day,
    job_seen,
    live_link,
)
from inspections.services.job_items import close
from inspections.services.registrations import why_not_send
from portfolio import access
from portfolio.clock import Moment
from portfolio.services.events import Happening, Verb, record
from portfolio.services.write import locked_units, save

__all__ = [
    "MOST_DEFECTS",
    "JobOver",
    "job_answer",
    "job_claim_done",
    "job_link_new",
    "job_made_safe",
    "job_proof_add",
    "job_proof_withdraw",
    "job_propose_day",
    "job_seen",
    "job_send",
    "job_take_back",
    "live_link",
]
MOST_DEFECTS = 50
"""More in one job would be a mail that nobody reads to its end."""
MOST_TRIES = 20
"""At finding a number that no other job of the agency has taken meanwhile."""


@transaction.atomic
def job_send(
    contractor_id: int, defect_ids: Iterable[int], *, access_notes: str = "", actor: Any, moment: Moment
) -> tuple[Job, str]:
    """Send these defects to a contractor, all or none. Gives the job and the secret of its link, which is not kept.

    Raises NotAllowed for whoever may not, and ValidationError with a sentence for each defect and reason.
    """
    _may_send(actor)
    ids = sorted(set(defect_ids))
    locked_units(Defect.objects.filter(pk__in=ids).values_list("unit_id", flat=True))
    contractor = Contractor.objects.select_for_update(of=("self",)).get(
        pk=contractor_id, agency=actor.agency_id
    )
    faults = why_not_job(contractor, defects_of(ids, actor), len(ids), moment)
    if faults:
        raise ValidationError(faults)
    job = _numbered(contractor, access_notes, actor, moment)
    for pk in ids:
        save(JobItem(job=job, defect_id=pk), actor=actor, moment=moment)
    link, token = _link(job, moment)
    job_mail.sent(job, link, token, again=False, moment=moment)
    homes = Defect.objects.filter(pk__in=ids).order_by("unit", "pk").values_list("unit_id", "title", "code")
    record(_sent(job, list(homes)), agency_id=job.agency_id, actor=actor, moment=moment)
    return job, token


def defects_of(ids: Sequence[int], actor: Any) -> list[Defect]:
    """Those of these defects that the actor may see, with what a job says of them."""
    mine = Defect.objects.visible_to(actor).filter(pk__in=ids)
    return list(mine.select_related(*WITH).order_by("unit", "pk"))


def why_not_job(contractor: Contractor, defects: Sequence[Defect], asked: int, moment: Moment) -> list[str]:
    """Why these defects cannot be one job of this contractor; empty when they can. `asked`: how many were chosen."""
    if not asked:
        return ["Choose at least one defect."]
    if asked > MOST_DEFECTS:
        return [f"Choose at most {MOST_DEFECTS} defects for one job; these are {asked}."]
    if len(defects) != asked:
        return ["Some of these defects are not there. Choose them again."]
    return [*why_not_any_job(defects), *why_not_send(contractor, defects, moment.day)]


def why_not_any_job(defects: Sequence[Defect]) -> list[str]:
    """Why some of these defects cannot be sent to anybody now."""
    live = JobItem.objects.filter(defect__in=defects, ended_at=None).select_related("job__contractor")
    held = {item.defect_id: item.job for item in live}
    said = []
    for defect in defects:
        name = f"‘{defect.title or defect.get_code_display()}’, {defect.unit}"
        if defect.confirmed is not None:
            said.append(f"{name}: it is confirmed as put right, so nothing is left to do.")
        elif (job := held.get(defect.pk)) is not None:
            said.append(f"{name}: it is with {job.contractor} already ({job}). Take that job back first.")
        elif defect.completed is not None:
            said.append(
                f"{name}: its work is said to be done. Have it confirmed, or the proof sent back, first."
            )
    return said


@transaction.atomic
def job_take_back(job_id: int, *, why: str, actor: Any, moment: Moment) -> Job:
    """Take all that is left of a job back from its contractor; its link dies. Raises ValidationError, NotAllowed."""
    _may_send(actor)
    job = job_locked(job_id, homes=True)
    if job.agency_id != actor.agency_id:
        raise NotAllowed("This job is another agency’s.")
    if not why.strip():
        raise ValidationError(
            {"why": "Say why it is taken back: the contractor is told, and the reason is kept."}
        )
    parts = job_mail.live_parts(job, moment)
    for item in job.items.filter(ended_at=None):
        item.ended_at = moment.at
        save(item, actor=actor, moment=moment)
    job.sequence += 1
    close(job, why=f"{TAKEN_BACK}{why.strip()}", actor=actor, moment=moment)
    job_mail.taken_back(job, parts, why.strip(), moment=moment)
    return job


@transaction.atomic
def job_link_new(job_id: int, *, actor: Any, moment: Moment) -> str:
    """Replace the link of a job: the old one dies, the contractor is written to anew. Gives its secret."""
    _may_send(actor)
    job = job_locked(job_id)
    if job.agency_id != actor.agency_id:
        raise NotAllowed("This job is another agency’s.")
    JobLink.objects.filter(job=job, dead_at=None).update(dead_at=moment.at)
    link, token = _link(job, moment)
    if job.proposed is None:  # its entry stands on the last day, or today if that is past: it may have moved
        job.sequence += 1
        save(job, actor=actor, moment=moment)
    job_mail.sent(job, link, token, again=True, moment=moment)
    says = f"{job}: link replaced; {job.contractor} is written to anew."
    happening = Happening(Verb.LINK_REPLACED, f"job:{job.pk}", says)
    record([happening], agency_id=job.agency_id, actor=actor, moment=moment)
    return token


def _may_send(actor: Any) -> None:
    if not access.may(actor, "send_job"):
        raise NotAllowed("Only a letting agent sends defects to contractors.")


def _numbered(contractor: Contractor, access_notes: str, actor: Any, moment: Moment) -> Job:
    """The job under the next number of its agency. Drawing the sheet comes after, so no lock is held for the number."""
    for _ in range(MOST_TRIES):
        newest = Job.objects.filter(agency=contractor.agency_id).aggregate(newest=Max("number"))["newest"]
        job = Job(
            agency=contractor.agency,
            number=(newest or 0) + 1,
            contractor=contractor,
            access_notes=access_notes.strip(),
            sent_at=moment.at,
            sent_by=actor,
        )
        try:
            with transaction.atomic():
                save(job, actor=actor, moment=moment)
        except (IntegrityError, ValidationError):
            if not Job.objects.filter(agency=job.agency_id, number=job.number).exists():
                raise
            continue  # another job took this number meanwhile
        return job
    raise ValidationError("Many jobs are being sent at this moment. Try again.")


def _link(job: Job, moment: Moment) -> tuple[JobLink, str]:
    token = secrets.token_urlsafe(32)
    link = JobLink.objects.create(
        job=job,
        token_sha256=hashlib.sha256(token.encode()).hexdigest(),
        made_at=moment.at,
        good_until=moment.at + timedelta(days=settings.JOB_LINK_DAYS),
    )
    return link, token


def _sent(job: Job, sent: Sequence[tuple[int, str | None, str]]) -> list[Happening]:
    """A line for each home."""
    by_unit: dict[int, list[str]] = {}
    for unit_id, title, code in sent:
        by_unit.setdefault(unit_id, []).append(title or code)
    return [
        Happening(
            Verb.JOB_SENT,
            f"job:{job.pk}",
            f"{job} sent to {job.contractor}: {'; '.join(titles)}.",
            unit_id,
            {"contractor": job.contractor_id, "defects": len(titles)},
        )
        for unit_id, titles in by_unit.items()
    ]
