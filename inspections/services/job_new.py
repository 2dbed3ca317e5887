"""Who could be sent some defects, and what would be written: for looking at before anything is sent."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import timedelta
from typing import Any

from django.conf import settings
from django.db.models import Q, QuerySet

from inspections.models import Contractor, Job
from inspections.selectors.job_parts import Part, parts_of
from inspections.services import job_mail
from inspections.services.job_calendar import invitation
from inspections.services.jobs import MOST_DEFECTS, defects_of, why_not_any_job
from inspections.services.registrations import warnings, why_not_send
from notifications import outbox
from portfolio.clock import Moment

STAND_IN = "the-secret-of-the-link"


@dataclass(frozen=True)
class Choice:
    """A contractor, why it may not be sent these defects, and what to ask it first."""

    contractor: Contractor
    why_not: list[str]
    warnings: list[str]


@dataclass(frozen=True)
class Choices:
    parts: list[Part]
    faults: list[str]
    """Why these defects can be sent to nobody now."""
    firms: list[Choice]
    """Those that may be sent them first."""


def choices(ids: Sequence[int], *, actor: Any, moment: Moment) -> Choices:
    """What the page of a new job shows. The number of queries does not grow with defects or contractors."""
    defects = defects_of(ids, actor)
    used = Contractor.objects.visible_to(actor).filter(Q(ended=None) | Q(ended__gt=moment.day))
    held = list(used.prefetch_related("registrations").order_by("name", "pk"))
    refused = outbox.refused(actor.agency_id, [firm.email for firm in held])
    firms = [
        Choice(
            firm,
            why_not_send(firm, defects, moment.day),
            [*([refused[firm.email]] if firm.email in refused else []), *warnings(firm, moment.day)],
        )
        for firm in held
    ]
    faults = why_not_any_job(defects)
    if len(ids) > MOST_DEFECTS:
        faults = [f"Choose at most {MOST_DEFECTS} defects for one job; these are {len(ids)}."]
    return Choices(
        parts_of([defect.pk for defect in defects], day=moment.day),
        faults,
        sorted(firms, key=lambda choice: bool(choice.why_not)),
    )


def allowed(found: Choices) -> "QuerySet[Contractor]":
    """Contractors that may be sent the defects."""
    return Contractor.objects.filter(pk__in=[one.contractor.pk for one in found.firms if not one.why_not])


def letter(
    ids: Sequence[int], *, contractor: Contractor, access_notes: str, actor: Any, moment: Moment
) -> dict[str, str]:
    """Subject and text of the mail as it would be sent now. Nothing is kept."""
    parts = parts_of(ids, contractor, day=moment.day)
    job = Job(
        agency=contractor.agency,
        number=0,
        contractor=contractor,
        access_notes=access_notes.strip(),
        sent_at=moment.at,
        sent_by=actor,
    )
    subject, text, _ = job_mail.letter(
        job,
        parts,
        url=job_mail.link_address(STAND_IN),
        good_until=moment.at + timedelta(days=settings.JOB_LINK_DAYS),
        again=False,
        calendar=invitation(job, parts, moment=moment) is not None,
    )
    stand_in = "Job (its number)"
    return {"subject": subject.replace("Job 0", stand_in), "text": text.replace("Job 0", stand_in)}
