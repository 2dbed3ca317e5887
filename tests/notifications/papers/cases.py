"""A rented home with papers and their files, for tests of mails that do something."""

from dataclasses import replace
from datetime import date, timedelta
from typing import Any
from uuid import uuid4

from django.core.files.base import ContentFile

from inspections.models import Contractor, Registration
from notifications.models import Message
from notifications.papers.letter import Ask
from notifications.papers.send import papers_send
from portfolio import documents
from portfolio.documents.proof import Accepted
from portfolio.facts import certificate_facts
from portfolio.law import model as law
from portfolio.models import Agency, Certificate, Due, Unit, User
from portfolio.services.certificates import document_attach
from tests.factories import CLEAR_FLAT, DAY, at, make_home
from tests.inspections.pictures import jpeg

CHECKED = date(2026, 11, 16)
OWED = date(2026, 12, 14)
"""The last day for a copy of a gas record of that day to who lives there."""
REFS = ("g2", "e1")


def rented(agency: Agency, **changes: Any) -> Unit:
    """A flat let since January whose tenant is owed a copy of a gas record; the electrical report was given."""
    gas = law.Certificate(
        "g2",
        "gas_safety_record",
        "G-2",
        inspected=CHECKED,
        appliances=(law.ApplianceCheck("boiler", "safe"),),
    )
    told: dict[str, Any] = {
        "certificates": (*(CLEAR_FLAT.certificates or ()), gas),
        "tenancies": (law.Tenancy("t1", date(2026, 1, 5), date(2026, 1, 10)),),
        "events": (law.Act("copy_given", "e1", "tenant", date(2026, 1, 6)),),
        "label": "Flat 2",
    }
    return make_home(agency, **{**told, **changes})


def with_file(paper: Certificate, content: bytes | None = None, name: str = "scan.jpg") -> documents.Accepted:
    """Put a file to a paper; without content a small picture of its own."""
    content = content or jpeg(shade=paper.pk % 200)
    accepted = documents.accept(ContentFile(content, name=name))
    return _put(paper, accepted)


def with_bytes(paper: Certificate, size: int) -> documents.Accepted:
    """A file of a certain size, which need not be readable."""
    content = bytes([paper.pk % 256]) * size
    return _put(paper, Accepted(content, "application/pdf", "large.pdf", f"{paper.pk:064}"))


def _put(paper: Certificate, accepted: documents.Accepted) -> documents.Accepted:
    unit = Unit.objects.select_related("agency").get(pk=paper.unit_id)
    document = documents.store(accepted, agency=unit.agency, actor=None, moment=at())
    document_attach(paper.pk, document, actor=None, moment=at())
    return accepted


def paper(home: Unit, ref: str) -> Certificate:
    return home.certificates.get(ref=ref)


def withdrawn(paper: Certificate) -> law.Certificate:
    """What the paper says, and that it counts no longer from the day of the tests on."""
    return replace(certificate_facts(paper, []), withdrawn=DAY)


def ask(home: Unit, *refs: str, **changes: Any) -> Ask:
    chosen = frozenset(home.certificates.filter(ref__in=refs).values_list("pk", flat=True))
    told: dict[str, Any] = {
        "party": "tenant",
        "name": "Pat Tenant",
        "email": "pat@example.org",
        "papers": chosen,
        "agreed": True,
    }
    return Ask(**{**told, **changes})


def send(home: Unit, asked: Ask, actor: User, **changes: Any) -> Message:
    return papers_send(home.pk, asked, **{"key": str(uuid4()), "actor": actor, "moment": at(), **changes})


def owed(home: Unit, name: str = "copy_to_tenant") -> list[str]:
    """What the home's duties of a name are about, as its stored standing has them."""
    return sorted(
        Due.objects.filter(unit=home, is_duty=True, code__endswith=f".{name}").values_list("of", flat=True)
    )


def make_gas_firm(
    agency: Agency, name: str = "Blue Flame", until: date | None = DAY + timedelta(days=200)
) -> Contractor:
    firm = Contractor.objects.create(
        agency=agency, name=name, email="office@blueflame.example.org", trades=["gas"]
    )
    if until:
        Registration.objects.create(contractor=firm, kind="gas", number="N-1", until=until, checked_on=DAY)
    return firm
