"""Contractors with what their registrations are worth today, and our people with what they may judge."""

from dataclasses import dataclass
from datetime import date

from django.db.models import Count, Prefetch, Q, QuerySet

from inspections.models import Competence, Contractor, Registration
from inspections.services.registrations import Holds, between, holds, warnings
from inspections.words import TRADE
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


@dataclass(frozen=True)
class Person:
    user: User
    held: list[Held]
    withdrawn: list[Held]


def firms(contractors: "QuerySet[Contractor]", *, day: date) -> list[Firm]:
    """Those still used first, by name. Three queries, however many they are."""
    counted = contractors.annotate(open_jobs=Count("jobs", filter=Q(jobs__closed_at=None), distinct=True))
    found = [
        _firm(one, day) for one in counted.prefetch_related("registrations", "people").order_by("name", "pk")
    ]
    return sorted(found, key=lambda firm: not firm.used)


def _firm(contractor: Contractor, day: date) -> Firm:
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
    )


def people(users: "QuerySet[User]", *, day: date) -> list[Person]:
    """Our people, inspectors first, with their competence. Two queries."""
    ordered = Prefetch("competences", Competence.objects.order_by("scheme", "pk"))
    found = []
    for user in users.select_related("landlord").prefetch_related(ordered).order_by("name", "email"):
        held = [Held(one, between(one.until, one.withdrawn, day)) for one in user.competences.all()]
        found.append(
            Person(
                user,
                [one for one in held if one.holds.code != "withdrawn"],
                [one for one in held if one.holds.code == "withdrawn"],
            )
        )
    return sorted(found, key=lambda person: person.user.role != "inspector")
