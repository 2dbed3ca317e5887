"""The papers of one home, now or as they were on record, and how long each lasts."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date, timedelta

from portfolio import words
from portfolio.facts import certificate_facts
from portfolio.forms.paper_fields import NEEDED
from portfolio.law import model as law
from portfolio.models import Certificate, Document, Unit
from portfolio.selectors.naming import paper_day

SHORTEST_LINE_DAYS = 400
LACKED = {
    **dict.fromkeys(("inspected", "registered", "issued"), "its day"),
    "outcome": "whether it was satisfactory",
    "rating": "the band it gives",
    "exemption": "which exemption it registers",
    "appliances": "what it found of each appliance",
}


def lacks(paper: law.Certificate) -> str:
    """What decides whether the paper counts and is not recorded of it, in words; empty when nothing is."""
    if paper.withdrawn or paper.applied:
        return ""
    of_gas = ("appliances",) if paper.kind == "gas_safety_record" else ()
    wanted = (*NEEDED.get(paper.kind, ()), *of_gas)
    return ", ".join(LACKED[name] for name in wanted if getattr(paper, name) is None)


@dataclass(frozen=True, slots=True)
class Paper:
    """A paper on record. `pk` is None, and files are left out, where an earlier record is shown.

    `checks`: what it says of each appliance, also of one taken out since, in words.
    """

    pk: int | None
    fact: law.Certificate
    checks: list[tuple[str, str]]
    files: list[Document]

    @property
    def is_silent(self) -> bool:
        """Does it say nothing but its days and its number?"""
        fact = self.fact
        said = (fact.outcome, fact.rating, fact.exemption, fact.next_within_years, fact.remedy_within_days)
        return not (any(said) or fact.applied or fact.withdrawn or self.checks)

    @property
    def lacks(self) -> str:
        return lacks(self.fact)


@dataclass(frozen=True)
class Lifespan:
    """A requirement's paper on the time line, as shares (per mille) of the line's length."""

    requirement: law.Requirement
    start: int
    length: int
    until: date


@dataclass(frozen=True)
class TimeLine:
    first: date
    last: date
    now: int
    spans: list[Lifespan]


def papers_of(unit: Unit) -> list[Paper]:
    """The papers of a home with their files and appliance results, the latest first."""
    rows = unit.certificates.prefetch_related("documents", "checks__appliance").order_by("pk")
    return _latest_first(_paper(row) for row in rows)


def papers_known(unit: law.Unit, names: Mapping[str, str]) -> list[Paper]:
    """Papers as an earlier record had them, the latest first."""
    return _latest_first(
        Paper(
            None,
            paper,
            [
                (names.get(one.appliance, one.appliance), _result(one.result))
                for one in paper.appliances or ()
            ],
            [],
        )
        for paper in unit.certificates or ()
    )


def _paper(row: Certificate) -> Paper:
    checks = [
        (words.APPLIANCE.get(check.appliance.kind or "", check.appliance.ref), _result(check.result))
        for check in row.checks.all()
    ]
    return Paper(row.pk, certificate_facts(row, []), checks, list(row.documents.all()))


def _result(code: str | None) -> str:
    return words.APPLIANCE_RESULT[code] if code else "not recorded"


def _latest_first(papers: Iterable[Paper]) -> list[Paper]:
    found = list(papers)
    return sorted(reversed(found), key=lambda paper: paper_day(paper.fact) or date.min, reverse=True)


def time_line(standing: law.Standing, papers: Iterable[Paper], day: date) -> TimeLine | None:
    """How long the law lets each paper serve, against the day asked about; None when there is none to draw."""
    by_ref = {paper.fact.ref: paper.fact for paper in papers}
    governed = [
        (requirement, start, requirement.due)
        for requirement in standing.requirements
        if requirement.due
        and requirement.certificate in by_ref
        and requirement.basis is not law.Basis.HOUSE_POLICY
        for start in [paper_day(by_ref[requirement.certificate])]
        if start is not None
    ]
    if not governed:
        return None
    first = min([day - timedelta(days=SHORTEST_LINE_DAYS), *(start for _, start, _ in governed)])
    last = max([day + timedelta(days=SHORTEST_LINE_DAYS), *(due for _, _, due in governed)])

    def place(at: date) -> int:
        return round(1000 * (at - first).days / (last - first).days)

    spans = [Lifespan(r, place(start), max(place(due) - place(start), 4), due) for r, start, due in governed]
    return TimeLine(first, last, place(day), sorted(spans, key=lambda span: span.until))
