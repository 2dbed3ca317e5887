"""The defects of one home."""

from dataclasses import dataclass
from typing import Any

from inspections.models import Defect
from portfolio import access
from portfolio.models import Unit


@dataclass(frozen=True)
class DefectRow:
    defect: Defect
    may_claim: bool
    may_confirm: bool


@dataclass(frozen=True)
class Defects:
    open: list[DefectRow]
    shut: list[Defect]


def defects_of(unit: Unit, user: Any) -> Defects:
    """Open ones with what this person may do about each, the latest first; and those put right."""
    people = ("recorded_by", "completed_by", "confirmed_by")
    found = Defect.objects.filter(unit=unit).select_related("room", "certificate", *people)
    rows = list(found.order_by("-found", "-pk"))
    still_open = [
        DefectRow(
            defect,
            may_claim=access.may(user, "claim_done") and defect.completed is None,
            may_confirm=access.may(user, "confirm")
            and defect.completed is not None
            and defect.completed_by_id != user.pk,
        )
        for defect in rows
        if defect.confirmed is None
    ]
    return Defects(still_open, [defect for defect in rows if defect.confirmed is not None])
