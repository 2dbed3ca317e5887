"""What tests of jobs start from: a firm with registrations, homes with defects, a job on its way."""

import re
from datetime import date
from typing import Any

from inspections.models import Contractor, Defect, Job, Registration
from inspections.services.jobs import job_send
from notifications.models import Message
from portfolio.law import model as law
from portfolio.models import Agency
from tests.factories import at, make_home

FOUND = date(2026, 11, 20)
NEXT_YEAR = date(2027, 6, 30)


def make_firm(agency: Agency, name: str = "Wire & Co", *trades: str, **until: date | None) -> Contractor:
    """A firm of these trades, by default an electrician, with registrations good until a day; insured for a year."""
    firm = Contractor.objects.create(
        agency=agency,
        name=name,
        email=f"{re.sub('[^a-z]', '', name.lower())}@example.org",
        phone="01632 960555",
        trades=list(trades) or ["electrical"],
    )
    for kind, day in {"insurance": NEXT_YEAR, **(until or {"electrical": NEXT_YEAR})}.items():
        Registration.objects.create(
            contractor=firm, kind=kind, number=f"N-{kind}", until=day, checked_on=FOUND
        )
    return firm


def make_defects(agency: Agency, *codes: str, label: str = "Flat 2", **changes: Any) -> list[Defect]:
    """One home with a defect of each code of BS 7671, in this order."""
    found = tuple(
        law.Defect(f"d{n}", "bs7671", code, f"Fault {n}", FOUND) for n, code in enumerate(codes, start=1)
    )
    home = make_home(agency, label=label, defects=found)
    if changes:
        Defect.objects.filter(unit=home).update(**changes)
    return list(Defect.objects.filter(unit=home).order_by("ref"))


def send(firm: Contractor, defects: list[Defect], actor: Any, **more: Any) -> tuple[Job, str]:
    return job_send(firm.pk, [defect.pk for defect in defects], **{"actor": actor, "moment": at(), **more})


def mail_of(job: Job, part: str) -> Message:
    return Message.objects.get(key__startswith=f"job:{job.pk}:{part}")


def file_of(message: Message, name: str) -> bytes:
    return bytes(message.attachments.get(name=name).content)
