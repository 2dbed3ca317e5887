"""Work that is said to be done and waits for somebody to confirm it."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from django.db.models import QuerySet

from inspections import words as own
from inspections.models import Defect
from inspections.paperwork import WORKS
from inspections.selectors.evidence import Shown, evidence_of
from inspections.selectors.urgent import urgencies
from inspections.services.competence import Judge, hands_of
from inspections.services.papers_back import Back, backs_of, may_leave_papers
from portfolio.clock import Moment

RELATED = ("unit__building", "unit__landlord", "room", "completed_by", "completed_for")


@dataclass(frozen=True)
class Proof:
    defect: Defect
    band: str
    evidence: Shown
    back: Back
    why_not: str
    """Why this person may not confirm it; empty when they may."""

    @property
    def work(self) -> str:
        return WORKS[self.defect.work].label if self.defect.work in WORKS else ""

    @property
    def pieces(self) -> int:
        return len(self.evidence.after)

    @property
    def lacks(self) -> str:
        """What is missing before it can be confirmed, in words; empty when nothing is."""
        if self.back.work_unknown and may_leave_papers(self.defect):
            return "The kind of work is not recorded."
        if self.back.missing:
            return f"Not come back: {self.back.says}."
        return "" if self.pieces else "Nothing shows the state after the work."


def to_confirm(user: Any) -> "QuerySet[Defect]":
    """What this person may see of it, the longest waiting first."""
    waiting = Defect.objects.visible_to(user).filter(confirmed=None, completed__isnull=False)
    return waiting.select_related(*RELATED).order_by("completed", "pk")


def proofs(defects: Sequence[Defect], user: Any, moment: Moment) -> list[Proof]:
    """One page of them, in as many queries however many they are."""
    ids = [defect.pk for defect in defects]
    shown, hands, backs = evidence_of(ids), hands_of(ids), backs_of(defects)
    said, judge = urgencies(Defect.objects.filter(pk__in=ids)), Judge.of(user, moment.day)
    return [
        Proof(
            defect=defect,
            band=own.BAND[said[defect.pk].band],
            evidence=shown[defect.pk],
            back=backs[defect.pk],
            why_not=judge.why_not(defect, *hands[defect.pk]),
        )
        for defect in defects
    ]
