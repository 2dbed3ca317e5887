"""Papers that came as proof and do not say yet, on record, what the law asks of them: what is missing, and of what."""

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from django.db.models import F, QuerySet

from inspections.models import Defect
from inspections.services.papers_back import brought_as_papers, paper_of
from portfolio.facts import certificate_facts
from portfolio.models import Certificate, Unit
from portfolio.selectors.home_papers import lacks
from portfolio.selectors.naming import paper_words


@dataclass(frozen=True)
class Lacking:
    """One such paper. `pk`: as a paper of the home; None while the work it came for is not confirmed."""

    home: Unit
    pk: int | None
    paper: str
    lacks: str


def lacking_of(defect: Defect) -> list[Lacking]:
    """Of one defect: those that its confirmation made papers of the home, or would make."""
    if defect.confirmed is not None:
        return _of(_kept().filter(documents__evidence__defect=defect))
    facts = [paper_of(piece) for piece in brought_as_papers(defect)]
    return [Lacking(defect.unit, None, paper_words(one), said) for one in facts if (said := lacks(one))]


def lacking_for(user: Any) -> list[Lacking]:
    """Of all homes that this person may see, the latest first."""
    return _of(_kept().filter(pk__in=Certificate.objects.visible_to(user).values("pk")))


def _kept() -> "QuerySet[Certificate]":
    """Papers of homes whose file came as that kind of paper, as proof of a repair in the same home."""
    return Certificate.objects.filter(
        withdrawn=None,
        documents__evidence__stage="after",
        documents__evidence__withdrawn_at=None,
        documents__evidence__paper=F("kind"),
        documents__evidence__defect__unit=F("unit"),
    )


def _of(papers: Iterable[Certificate]) -> list[Lacking]:
    rows = papers.select_related("unit__building").distinct().order_by("-pk")  # type: ignore[attr-defined]
    found = ((row, lacks(certificate_facts(row, []))) for row in rows)
    return [Lacking(row.unit, row.pk, paper_words(row), said) for row, said in found if said]
