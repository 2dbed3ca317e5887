"""A mail that brings papers, in words and files, before anything of it is kept."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any

from django.core.exceptions import ValidationError
from django.template.defaultfilters import filesizeformat

from notifications import outbox
from notifications.outbox import File
from notifications.papers.choice import (
    PARTY,
    Answer,
    Paper,
    Proof,
    answers_of,
    papers_of,
    proofs_of,
    standing_of,
)
from notifications.papers.pack import cover
from portfolio import documents, words
from portfolio.clock import Moment
from portfolio.documents.proof import SUFFIX
from portfolio.law import model as law
from portfolio.models import Document, Unit
from portfolio.selectors.naming import paper_day

MOST_BYTES = 20 * 1024 * 1024
"""Of all files of one mail together: many mail servers take no more."""
BECAUSE = {
    "tenant": "You rent this home, and agreed to be given its papers by e-mail at this address.",
    "prospect": "You asked about renting this home, and for its papers.",
    "council": "You are the council of this home, and its agent owes or offers you its papers.",
    "other": "Its agent was asked to send you papers of this home.",
}


@dataclass(frozen=True, slots=True)
class Ask:
    """What an agent wants sent, and to whom. Papers and proofs by their ids, answers by their codes."""

    party: str
    name: str
    email: str
    papers: frozenset[int]
    proofs: frozenset[int] = frozenset()
    answers: frozenset[str] = frozenset()
    note: str = ""
    agreed: bool = False


@dataclass
class Offer:
    """What there is to send of one home to one party on a day. Read once, when it is asked for."""

    unit: Unit
    party: str
    moment: Moment

    @cached_property
    def _held(self) -> tuple[list[Paper], list[Any]]:
        return papers_of(self.unit, self.moment.day)

    @property
    def papers(self) -> list[Paper]:
        return self._held[0]

    @property
    def fileless(self) -> list[Any]:
        return self._held[1]

    @cached_property
    def standing(self) -> law.Standing:
        return standing_of(self.unit, self.moment.day)

    @cached_property
    def proofs(self) -> list[Proof]:
        return proofs_of(self.unit) if self.party == "council" else []

    @cached_property
    def answers(self) -> list[Answer]:
        if self.party != "council":
            return []
        return answers_of(self.unit, self.standing, self.papers, self.proofs)


@dataclass(frozen=True)
class Letter:
    """A mail as it would go. `acts`: what its being taken is to record, as (what, of)."""

    subject: str
    text: str
    html: str
    files: list[File]
    papers: list[Paper]
    proofs: list[Proof]
    acts: list[tuple[str, str]]
    size: int = field(default=0)

    @property
    def listed(self) -> list[tuple[str, str]]:
        """Names and sizes of the files."""
        return [(file.name, filesizeformat(len(file.content))) for file in self.files]


def letter(offer: Offer, ask: Ask, *, actor: Any, moment: Moment) -> Letter:
    """Put what is asked for into words and files. Raises ValidationError, by the field that is wrong."""
    papers = [one for one in offer.papers if one.pk in ask.papers]
    proofs = [one for one in offer.proofs if one.pk in ask.proofs]
    _check(offer, ask, papers, proofs)
    answers = [one for one in offer.answers if one.code in ask.answers]
    _check_answers(answers, ask)
    named = list(_named(papers, proofs))
    _check_size(document.size for _, document in named)
    files = [File(name, document.media_type, _bytes(document)) for name, document in named]
    if ask.party == "council":
        page = cover(
            offer.unit,
            papers,
            proofs,
            answers,
            offer.standing,
            files=_numbered(named),
            actor=actor,
            moment=moment,
        )
        files.insert(0, File("council-pack.pdf", "application/pdf", page))
    size = _check_size(len(file.content) for file in files)
    acts = (
        [(one.what, one.of) for one in answers]
        if ask.party == "council"
        else [("copy_given", one.ref) for one in papers if ask.party in words.PARTY]
    )
    told = {
        "ask": ask, "unit": offer.unit, "actor": actor, "agency": offer.unit.agency, "papers": papers,
        "proofs": proofs, "answers": answers, "files": [(f.name, len(f.content)) for f in files],
        "because": BECAUSE[ask.party], "note": ask.note.strip(),
    }  # fmt: skip
    return Letter(
        *outbox.letter("papers", told), files, papers, proofs, acts, size,
    )  # fmt: skip


def _check(offer: Offer, ask: Ask, papers: Sequence[Paper], proofs: Sequence[Proof]) -> None:
    if ask.party not in PARTY:
        raise ValidationError({"party": "Choose to whom the papers go."})
    if not ask.papers and not ask.proofs:
        raise ValidationError({"papers": "Choose at least one paper."})
    if len(papers) != len(ask.papers) or len(proofs) != len(ask.proofs):
        raise ValidationError(
            {"papers": "Some of these papers count no longer or have lost their file. Choose again."}
        )
    if ask.party == "tenant" and not ask.agreed:
        raise ValidationError(
            {
                "agreed": "Say that the tenant agreed to be given papers by e-mail; otherwise give them on paper."
            }
        )


def _check_answers(answers: Sequence[Answer], ask: Ask) -> None:
    """Nothing is recorded as done that the mail does not do."""
    if len(answers) != len(ask.answers):
        raise ValidationError({"answers": "One of these duties is done or gone meanwhile. Choose again."})
    for one in answers:
        title = one.duties[0].title
        if one.why_not:
            raise ValidationError({"answers": f"‘{title}’ cannot be answered now. {one.why_not}"})
        if not (one.papers <= ask.papers and one.proofs <= ask.proofs):
            raise ValidationError(
                {
                    "answers": f"‘{title}’ is answered only if what it is about goes too: tick its paper and proof."
                }
            )


def _check_size(sizes: Iterable[int]) -> int:
    total = sum(sizes)
    if total > MOST_BYTES:
        over = filesizeformat(total - MOST_BYTES)
        raise ValidationError(
            {
                "papers": f"Together the files are {filesizeformat(total)}, {over} more than the "
                f"{filesizeformat(MOST_BYTES)} that one mail takes. Choose fewer and send the rest by themselves."
            }
        )
    return total


def _named(papers: Iterable[Paper], proofs: Iterable[Proof]) -> Iterable[tuple[str, Document]]:
    """Each file once, under a name that any program takes and that says what it is."""
    wanted = [
        (f"{paper.row.kind}-{paper_day(paper.row) or 'undated'}", file)
        for paper in papers
        for file in paper.files
    ]
    wanted += [(f"proof-{proof.defect.ref}", file) for proof in proofs for file in proof.files]
    taken: dict[str, int] = {}
    seen: set[int] = set()
    for stem, file in wanted:
        if file.pk in seen:
            continue
        seen.add(file.pk)
        plain = (
            "".join(c if c.isascii() and c.isalnum() else "-" for c in stem).strip("-").lower()[:80] or "file"
        )
        taken[plain] = taken.get(plain, 0) + 1
        number = f"-{taken[plain]}" if taken[plain] > 1 else ""
        yield f"{plain}{number}.{SUFFIX.get(file.media_type, 'bin')}", file


def _numbered(named: Sequence[tuple[str, Document]]) -> dict[int, str]:
    """The names of files by their documents."""
    return {document.pk: name for name, document in named}


def _bytes(document: Document) -> bytes:
    try:
        return documents.open_bytes(document)
    except FileNotFoundError:
        raise ValidationError(
            {"papers": f"The file ‘{document.name}’ is not in the store any more. Put it to the paper again."}
        ) from None
