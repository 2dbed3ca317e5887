"""The papers that a repair leaves: what is asked for, what has come, and what becomes a paper of the home."""

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from django.db.models import QuerySet

from inspections import paperwork
from inspections.models import Defect, Evidence
from inspections.words import TRADE_OF
from portfolio.clock import Moment
from portfolio.forms.paper_fields import FIELDS
from portfolio.law import model as law
from portfolio.models import Certificate
from portfolio.selectors.naming import paper_day
from portfolio.services.certificates import certificate_add

DAYS = ("inspected", "registered", "issued")


@dataclass(frozen=True)
class Back:
    """What work on a defect leaves, and what of it is still missing."""

    papers: paperwork.Papers | None
    """None: the kind of work is not recorded."""
    missing: tuple[paperwork.Ask, ...]

    @property
    def work_unknown(self) -> bool:
        return self.papers is None

    @property
    def says(self) -> str:
        """What is missing, in words."""
        return "; ".join(ask.says[:1].lower() + ask.says[1:] for ask in self.missing)


def place_of(defect: Defect) -> str | None:
    """Where the work is done, as far as it decides whether it has to be notified."""
    use = defect.room.use if defect.room is not None else None
    return use if use in paperwork.PLACES else None


def papers_asked(defect: Defect, work: str) -> paperwork.Papers | None:
    """What the work leaves, by the day it was done; None while its kind or its day is not recorded."""
    if not work or defect.completed is None:
        return None
    nation = defect.unit.building.nation
    return paperwork.expected(work, place=place_of(defect), nation=nation, on=defect.completed)


def papers_back(defect: Defect, work: str = "") -> Back:
    """What has to come back for this defect and has not. `work`: its kind, where the defect does not say it."""
    return backs_of([defect], work)[defect.pk]


def backs_of(defects: Sequence[Defect], work: str = "") -> dict[int, Back]:
    """The same for many, by id, in two queries."""
    held = kinds_held(defects)
    found = {}
    for defect in defects:
        papers = papers_asked(defect, defect.work or work)
        found[defect.pk] = Back(papers, paperwork.missing(papers, held[defect.pk]) if papers else ())
    return found


def kinds_held(defects: Sequence[Defect]) -> dict[int, set[str]]:
    """Kinds of paper that can be of each repair: brought as its proof, or on record for the home since the work.

    A paper older than the defect is of something else, and so is the one that reported it.
    """
    found: dict[int, set[str]] = {defect.pk: set() for defect in defects}
    by_pk = {defect.pk: defect for defect in defects}
    brought = Evidence.objects.filter(
        defect__in=list(found), stage="after", withdrawn_at=None, paper__isnull=False, dated__isnull=False
    )
    for pk, kind, dated in brought.values_list("defect", "paper", "dated"):
        since = by_pk[pk].found
        if kind is not None and dated is not None and (since is None or dated >= since):
            found[pk].add(kind)
    held = defaultdict(list)
    for paper in Certificate.objects.filter(unit__in={one.unit_id for one in defects}, withdrawn=None):
        held[paper.unit_id].append(paper)
    for defect in defects:
        for paper in held[defect.unit_id]:
            day = paper_day(paper)
            since_work = day is not None and defect.completed is not None and day >= defect.completed
            if since_work and paper.pk != defect.certificate_id:
                found[defect.pk].add(paper.kind)
    return found


def may_leave_papers(defect: Defect) -> bool:
    """Can work on it leave a paper that is asked for? Yes, while it is not recorded who mends such a thing."""
    trade = defect.trade or TRADE_OF.get(defect.scheme)
    return trade is None or any(work.asks for work in paperwork.WORKS.values() if trade in work.trades)


def works_for(defect: Defect) -> list[tuple[str, str]]:
    """The kinds of work to choose from, those of the trade that mends it first."""
    trade = defect.trade or TRADE_OF.get(defect.scheme)
    ranked = sorted(paperwork.WORKS.items(), key=lambda one: trade not in one[1].trades)
    return [(code, work.label) for code, work in ranked]


def keep_papers(defect: Defect, *, actor: Any, moment: Moment) -> list[Certificate]:
    """Make the papers that came as proof papers of the home: each file once, however many defects it serves."""
    kept = []
    for piece in brought_as_papers(defect):
        held = Certificate.objects.filter(unit=defect.unit_id, kind=piece.paper, documents=piece.document)
        if not held.exists():
            kept.append(
                certificate_add(
                    defect.unit_id, paper_of(piece), document=piece.document, actor=actor, moment=moment
                )
            )
    return kept


def brought_as_papers(defect: Defect) -> "QuerySet[Evidence]":
    """The proof that is a paper and relied on."""
    brought = Evidence.objects.filter(
        defect=defect, stage="after", withdrawn_at=None, paper__isnull=False, document__isnull=False
    )
    return brought.select_related("document").order_by("pk")


def paper_of(piece: Evidence) -> law.Certificate:
    """What is said of the paper: its kind, day and number. What else it says has to be recorded from it."""
    kind = piece.paper or "other"
    day = next(name for name in DAYS if name in FIELDS[kind])
    return law.Certificate("", kind, piece.number or None, **{day: piece.dated})  # type: ignore[arg-type]
