"""Contractors with what their registrations are worth today, and our people with what they may judge."""

from dataclasses import dataclass
from datetime import date

from django.db.models import Count, Prefetch, Q, QuerySet

from inspections.models import Competence, Contractor, Registration
from inspections.services.registrations import Holds, between, holds, warnings
from inspections.words import TRADE
from notifications import outbox
from portfolio.models import User

_SHAPE = {"current": "met", "soon": "warn"}


@dataclass(frozen=True)
class Held:
    """A registration or a competence, and what it is worth."""

    record: Registration | Competence
    holds: Holds

    @property
    def shape(self) -> str:
        """The mark beside its words."""
        return _SHAPE.get(self.holds.code, "not_met")


@dataclass(frozen=True)
class Firm:
    contractor: Contractor
    trades: list[str]
    held: list[Held]
    """Those not withdrawn, the most pressing first."""
    withdrawn: list[Held]
    warnings: list[str]
    open_jobs: int
    used: bool
    """Jobs may be sent to it."""
    refused: str
    """That mail to it is refused, in a sentence; "" when it is not."""


@dataclass(frozen=True)
class Person:
    user: User
    held: list[Held]
    withdrawn: list[Held]
    refused: str


def firms(contractors: "QuerySet[Contractor]", *, day: date) -> list[Firm]:
    """Those of one agency, still used ones first, by name. Four queries, however many they are."""
    counted = contractors.annotate(open_jobs=Count("jobs", filter=Q(jobs__closed_at=None), distinct=True))
    held = list(counted.prefetch_related("registrations", "people").order_by("name", "pk"))
    refused = outbox.refused(held[0].agency_id, [one.email for one in held]) if held else {}
    found = [_firm(one, day, refused.get(one.email, "")) for one in held]
    return sorted(found, key=lambda firm: not firm.used)


def _firm(contractor: Contractor, day: date, refused: str) -> Firm:
    held = [Held(one, holds(one, day)) for one in contractor.registrations.all()]
    kept = [one for one in held if one.holds.code != "withdrawn"]
    used = contractor.ended is None or contractor.ended > day
    return Firm(
        contractor=contractor,
        trades=[TRADE[code] for code in contractor.trades],
        held=sorted(kept, key=lambda one: (one.record.until or date.min, one.record.pk)),
        withdrawn=[one for one in held if one.holds.code == "withdrawn"],
        warnings=warnings(contractor, day) if used else [],
        open_jobs=getattr(contractor, "open_jobs", 0),
        used=used,
        refused=refused,
    )


def people(users: "QuerySet[User]", *, day: date) -> list[Person]:
    """The people of one agency, inspectors first, with their competence. Three queries."""
    ordered = Prefetch("competences", Competence.objects.order_by("scheme", "pk"))
    found = []
    here = list(users.select_related("landlord").prefetch_related(ordered).order_by("name", "email"))
    refused = outbox.refused(here[0].agency_id, [user.email for user in here]) if here else {}
    for user in here:
        held = [Held(one, between(one.until, one.withdrawn, day)) for one in user.competences.all()]
        found.append(
            Person(
                user,
                [one for one in held if one.holds.code != "withdrawn"],
                [one for one in held if one.holds.code == "withdrawn"],
                refused.get(user.email, ""),
            )
        )
    return sorted(found, key=lambda person: person.user.role != "inspector")
