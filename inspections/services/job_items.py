"""A defect leaves its job: confirmed, declined or taken back. With the last one the job closes and its link dies."""

from typing import Any

from inspections.models import Defect, Job, JobItem, JobLink
from inspections.services import job_mail
from portfolio.clock import Moment
from portfolio.services.events import Happening, Verb, record
from portfolio.services.write import save


def end_item(defect: Defect, *, why: str, actor: Any, moment: Moment) -> None:
    """End the defect's place in its job, if it is in one. Belongs in a transaction that holds the home's lock."""
    item = JobItem.objects.select_related("job").filter(defect=defect, ended_at=None).first()
    if item is None:
        return
    item.ended_at = moment.at
    save(item, actor=actor, moment=moment)
    # Locked before it is counted: the last two items of a job over two homes may end at the same time.
    job = Job.objects.select_for_update(of=("self",)).get(pk=item.job_id)
    if not job.items.filter(ended_at=None).exists():
        job.sequence += 1
        close(job, why=why, actor=actor, moment=moment)
        job_mail.finished(job, job_mail.whole_parts(job, moment), moment=moment)


def close(job: Job, *, why: str, actor: Any, moment: Moment) -> None:
    """Close a job and let its link die. Its items are ended already, or are ended by the caller."""
    job.closed_at, job.closed_why = moment.at, why
    save(job, actor=actor, moment=moment)
    JobLink.objects.filter(job=job, dead_at=None).update(dead_at=moment.at)
    happening = Happening(Verb.JOB_CLOSED, f"job:{job.pk}", f"{job} closed: {why}", None, {"why": why})
    record([happening], agency_id=job.agency_id, actor=actor, moment=moment)
