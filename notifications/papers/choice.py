"""What of a home can be sent by e-mail: papers with a file, proof of repairs, and the duties towards a council."""

from collections.abc import Collection, Iterable
from dataclasses import dataclass
from datetime import date

from inspections.models import Defect
from inspections.selectors.evidence import evidence_of
from portfolio import words
from portfolio.law import model as law
from portfolio.law.loader import load
from portfolio.models import Certificate, Document, Unit
from portfolio.selectors.naming import paper_day, paper_words
from portfolio.selectors.steps import way_of
from portfolio.standing import on_day

OTHER = "other"
PARTY = {**words.PARTY, OTHER: "Somebody else (a buyer, an insurer)"}
"""Whom papers can be sent to. The law counts copies for the first three alone."""
FAILING = ("C1", "C2", "FI")
"""Codes that ask for work, where the law's own list of them is not held."""


@dataclass(frozen=True, slots=True)
class Paper:
    """A paper that counts, with its files. `newest`: none of its kind is of a later day."""

    row: Certificate
    files: tuple[Document, ...]
    newest: bool

    @property
    def pk(self) -> int:
        return self.row.pk

    @property
    def ref(self) -> str:
        return self.row.ref

    @property
    def says(self) -> str:
        return paper_words(self.row)


@dataclass(frozen=True, slots=True)
class Proof:
    """A defect that is confirmed as put right, with the files that show it."""

    defect: Defect
    files: tuple[Document, ...]

    @property
    def pk(self) -> int:
        return self.defect.pk

    @property
    def says(self) -> str:
        defect = self.defect
        return f"{defect.title or defect.get_code_display()}, confirmed {defect.confirmed:%-d %b %Y}"


@dataclass(frozen=True, slots=True)
class Answer:
    """What sending can record as done towards the council: an act about one thing, and the duties it answers.

    `papers` and `proofs` have to go with it; `why_not` says why it cannot be done now.
    """

    what: str
    of: str
    duties: tuple[law.Duty, ...]
    papers: frozenset[int]
    proofs: frozenset[int]
    why_not: str = ""

    @property
    def code(self) -> str:
        return f"{self.what}:{self.of}"


def papers_of(unit: Unit, day: date) -> tuple[list[Paper], list[Certificate]]:
    """Papers that can be sent, the latest first; and those without a file."""
    rows = [row for row in unit.certificates.prefetch_related("documents") if not is_withdrawn(row, day)]
    rows.sort(key=lambda row: (paper_day(row) or date.min, row.pk), reverse=True)
    found = [Paper(row, tuple(row.documents.all()), is_newest(row, rows)) for row in rows]
    return [one for one in found if one.files], [one.row for one in found if not one.files]


def is_withdrawn(paper: Certificate, day: date) -> bool:
    return paper.withdrawn is not None and paper.withdrawn <= day


def is_newest(paper: Certificate, held: Iterable[Certificate]) -> bool:
    """Is no other of its kind of a later day?"""
    mine = paper_day(paper) or date.min
    return all((paper_day(one) or date.min) <= mine for one in held if one.kind == paper.kind)


def proofs_of(unit: Unit) -> list[Proof]:
    """Defects put right and confirmed, the latest first, with what shows the state after the work."""
    defects = list(
        Defect.objects.filter(unit=unit, confirmed__isnull=False)
        .select_related("room", "certificate", "confirmed_by", "completed_by", "completed_for")
        .order_by("-confirmed", "-pk")
    )
    shown = evidence_of([one.pk for one in defects])
    return [
        Proof(one, tuple(piece.evidence.document for piece in shown[one.pk].after if piece.evidence.document))
        for one in defects
    ]


def standing_of(unit: Unit, day: date) -> law.Standing:
    return on_day([unit.pk], day)[unit.pk]


def answers_of(
    unit: Unit, standing: law.Standing, papers: Collection[Paper], proofs: Collection[Proof]
) -> list[Answer]:
    """What can be recorded as done towards the council, each act once."""
    by_act: dict[tuple[str, str], list[law.Duty]] = {}
    for duty in standing.duties:
        way = way_of(duty.id)
        if duty.party == "council" and duty.of and duty.state is not law.DutyState.DONE and way.act:
            by_act.setdefault((way.act, duty.of), []).append(duty)
    defects = list(Defect.objects.filter(unit=unit).select_related("certificate")) if by_act else []
    sendable = {paper.ref: paper.pk for paper in papers}
    found = []
    for (what, of), duties in by_act.items():
        if what == "copy_given":
            found.append(_copy(of, tuple(duties), sendable))
        elif what == "confirmation_given":
            found.append(_confirmation(of, tuple(duties), sendable, defects, {one.pk for one in proofs}))
    return found


def _copy(of: str, duties: tuple[law.Duty, ...], sendable: dict[str, int]) -> Answer:
    if of not in sendable:
        return Answer("copy_given", of, duties, frozenset(), frozenset(), "No file of it is held.")
    return Answer("copy_given", of, duties, frozenset({sendable[of]}), frozenset())


def _confirmation(
    of: str,
    duties: tuple[law.Duty, ...],
    sendable: dict[str, int],
    defects: list[Defect],
    confirmed: set[int],
) -> Answer:
    """Work on a paper's defects, or on one defect: each has to be confirmed, and the paper goes with it."""
    codes = _failing_codes(duties[0])
    about = [
        one for one in defects
        if one.ref == of or (one.certificate is not None and one.certificate.ref == of and one.code in codes)
    ]  # fmt: skip
    papers = {sendable[of]} if of in sendable else set()
    report = next((one.certificate.ref for one in about if one.certificate), of)
    why_not = ""
    if not about:
        why_not = "No defect of it is on record, so there is no proof to send."
    elif any(one.pk not in confirmed for one in about):
        why_not = "Not all of its work is confirmed by a second, competent person yet."
    elif report == of and of not in sendable:
        why_not = "No file of the report is held, and it has to go with the confirmation."
    return Answer(
        "confirmation_given", of, duties, frozenset(papers), frozenset(one.pk for one in about), why_not
    )


def _failing_codes(duty: law.Duty) -> tuple[str, ...]:
    """The codes that the duty's own topic counts as asking for work."""
    topic = load().topics.get(duty.id.rpartition(".")[0])
    entries = topic.values.get("failing_codes", ()) if topic else ()
    return tuple(entries[-1].value) if entries else FAILING  # type: ignore[arg-type]
