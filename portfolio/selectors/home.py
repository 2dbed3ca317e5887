"""One home: everything its page shows, read for one day, from what is on record now or was at an earlier time."""

from collections.abc import Iterable
from dataclasses import dataclass, field, replace
from datetime import date, datetime

from django.db.models import Q, QuerySet

from notifications import outbox
from portfolio.clock import LONDON, end_of
from portfolio.facts import Facts, facts_known, facts_of
from portfolio.gate import live_on
from portfolio.house_policy import book_of
from portfolio.law import model as law
from portfolio.models import Clearance, Event, Landlord, Unit
from portfolio.selectors.board import door
from portfolio.selectors.home_asked import Asked, Coming, DutyRow, asked_of, coming, duty_rows
from portfolio.selectors.home_papers import Paper, TimeLine, papers_known, papers_of, time_line
from portfolio.selectors.missing import Missing, missing
from portfolio.selectors.naming import home_name, names_of
from portfolio.selectors.reasons import Shown, goes_on, shown
from portfolio.selectors.steps import Spoken
from portfolio.services.events import Verb
from portfolio.standing import ask

EVENTS_SHOWN = 12


@dataclass(frozen=True)
class Verdict:
    """May it be let (or sold)? With the mark, if it carries one, or else the last that ended."""

    purpose: str
    answer: law.Answer
    door: str
    mark: Clearance | None
    ended: Clearance | None
    bars: list[Shown]
    warnings: list[Shown]
    then: str = ""
    """What bars it first, where it is clear and that comes within the months looked ahead."""


@dataclass
class HomePage:
    unit: Unit
    day: date
    known: date | None
    """Shown as it stood on record at the end of this day; None: as it stands now."""
    title: str
    landlord: Landlord | None
    landlord_refused: str
    """That mail to the landlord is refused, in a sentence; "" when it is not, or for an earlier time."""
    facts: Facts
    standing: law.Standing
    verdicts: list[Verdict]
    asked: list[Asked]
    not_asked: list[law.Requirement]
    papers: list[Paper]
    line: TimeLine | None
    duties: list[DutyRow]
    coming: Coming
    events: list[Event]
    events_total: int
    missing: list[Missing]
    tenancies: dict[str, int]
    """Ids by ref."""
    open_defects: list[law.Defect] = field(default_factory=list)
    closed_defects: list[law.Defect] = field(default_factory=list)
    names: dict[str, str] = field(default_factory=dict)
    """Plain words for each ref of the home."""

    @property
    def to_do(self) -> list[DutyRow]:
        return [row for row in self.duties if row.duty.state is not law.DutyState.DONE]

    @property
    def done(self) -> list[DutyRow]:
        return [row for row in self.duties if row.duty.state is law.DutyState.DONE]


def home_page(unit: Unit, *, day: date, today: date, known: date | None = None) -> HomePage | None:
    """What stands on record about the home and what follows from it on `day`.

    Without `known` the marks are today's. With it everything is shown as it was on record at the end of that day;
    None if the home was not on record yet. The law is always that which is held now.
    """
    before = None if known is None else end_of(known)
    facts = facts_of([unit.pk])[unit.pk] if before is None else facts_known(unit.pk, before)
    if facts is None:
        return None
    book = book_of(unit.agency_id, before)
    standing = ask(facts, day, book)
    names = names_of(facts[1])
    papers = papers_of(unit) if known is None else papers_known(facts[1], names)
    held = {paper.fact.ref: paper.pk for paper in papers if paper.pk is not None}
    home = Spoken(unit, names, held, renewals_asked(unit, before))
    asked, not_asked = asked_of(standing, home, book)
    events = events_of(unit, before)
    months = coming(facts, home, book, day)
    answers = verdicts(home, standing, day=day, marked_on=known or today, before=before)
    page = HomePage(
        unit=unit,
        day=day,
        known=known,
        title=home_name(*facts),
        landlord=(landlord := _landlord(unit, facts[1])),
        landlord_refused=_refused(landlord) if known is None else "",
        facts=facts,
        standing=standing,
        verdicts=[replace(one, then=months.then[one.purpose]) for one in answers],
        asked=asked,
        not_asked=not_asked,
        papers=papers,
        line=time_line(standing, papers, day),
        duties=duty_rows(standing.duties, names, unit),
        coming=months,
        events=list(events[:EVENTS_SHOWN]),
        events_total=events.count(),
        missing=missing(*facts),
        tenancies=dict(unit.tenancies.values_list("ref", "pk")),
        names=names,
    )
    defects = sorted(facts[1].defects or (), key=lambda d: (d.found or date.min, d.ref), reverse=True)
    for defect in defects:
        shut = defect.confirmed is not None and defect.confirmed <= day
        (page.closed_defects if shut else page.open_defects).append(defect)
    return page


def _landlord(unit: Unit, facts: law.Unit) -> Landlord | None:
    if facts.landlord_ref is None:
        return None
    if unit.landlord is not None and unit.landlord.ref == facts.landlord_ref:
        return unit.landlord
    return Landlord.objects.filter(agency=unit.agency_id, ref=facts.landlord_ref).first()


def verdicts(
    home: Spoken, standing: law.Standing, *, day: date, marked_on: date, before: datetime | None = None
) -> list[Verdict]:
    """Both answers for `day`, with the marks of `marked_on`; with `before`, as they were on record before then."""
    last = {mark.purpose: mark for mark in _marks(home.unit, before)}
    marks = {purpose: mark for purpose, mark in last.items() if live_on(mark, marked_on)}
    answers = (("let", standing.let), ("sale", standing.sale))
    return [
        Verdict(
            purpose=purpose,
            answer=answer,
            door=door(answer.clear, answer.until, day),
            mark=marks.get(purpose),
            ended=None if purpose in marks else last.get(purpose),
            bars=shown(answer.bars, home, answer.warnings),
            warnings=shown(
                [one for one in answer.warnings if not any(goes_on(one, bar) for bar in answer.bars)], home
            ),
        )
        for purpose, answer in answers
    ]


def _marks(unit: Unit, before: datetime | None) -> list[Clearance]:
    """Marks of the home, oldest first; what was done to them from `before` on is left out."""
    kept = (
        unit.clearances.select_related("marked_by").defer("facts", "answer", "packs", "policy").order_by("pk")
    )
    if before is None:
        return list(kept)
    found = list(kept.filter(marked_at__lt=before))
    for mark in found:
        if mark.withdrawn_at is not None and mark.withdrawn_at >= before:
            mark.withdrawn_at = mark.withdrawn_on = mark.withdrawn_by = None
            mark.withdrawn_why = ""
    return found


def shown_for(unit: Unit, reasons: Iterable[law.Reason]) -> list[Shown]:
    """Reasons about a home in words for its pages."""
    names = names_of(facts_of([unit.pk])[unit.pk][1])
    papers = dict(unit.certificates.values_list("ref", "pk"))
    return shown(reasons, Spoken(unit, names, papers))


def _refused(landlord: Landlord | None) -> str:
    if landlord is None or not landlord.email:
        return ""
    return outbox.refused(landlord.agency_id, [landlord.email]).get(landlord.email, "")


def renewals_asked(unit: Unit, before: datetime | None = None) -> dict[tuple[str, str], str]:
    """Whom we asked last to renew what, and when, by requirement and last good day (ISO)."""
    lines = events_of(unit, before).filter(verb=Verb.RENEWAL_ASKED.value).order_by("seq")
    return {
        (line.data["code"], line.data["due"]): (
            f"asked {line.data['contractor']} on {line.at.astimezone(LONDON):%-d %B %Y}"
        )
        for line in lines
    }


def events_of(unit: Unit, before: datetime | None = None) -> "QuerySet[Event]":
    """The lines of record about a home, the latest first; with `before`, those from before that instant."""
    in_time = Q() if before is None else Q(at__lt=before)
    return unit.events.filter(in_time).select_related("actor").order_by("-seq")
