"""What shows the state of a defect before and after the work."""

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass, field

from inspections.models import Evidence
from portfolio.documents.preview import is_picture


@dataclass(frozen=True)
class Piece:
    """A piece of evidence as a page shows it."""

    evidence: Evidence
    picture: bool


@dataclass(frozen=True)
class Shown:
    """Pieces in the order in which they came; `withdrawn` ones are no longer relied on."""

    before: list[Piece] = field(default_factory=list)
    after: list[Piece] = field(default_factory=list)
    withdrawn: list[Piece] = field(default_factory=list)


def evidence_of(defect_ids: Iterable[int]) -> dict[int, Shown]:
    """By defect, in one query; a defect without any has an empty `Shown`."""
    shown: dict[int, Shown] = defaultdict(Shown)
    rows = Evidence.objects.filter(defect__in=list(defect_ids))
    for row in rows.select_related("document", "added_by", "contractor").order_by("added_at", "pk"):
        piece, of = Piece(row, row.document is not None and is_picture(row.document)), shown[row.defect_id]
        (of.withdrawn if row.withdrawn_at else of.after if row.stage == "after" else of.before).append(piece)
    return shown
