"""One home: everything its page shows, read for one day."""

from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import date, timedelta
from typing import Any

from django.db.models import QuerySet

from portfolio import words
from portfolio.facts import Facts, facts_of
from portfolio.gate import live_on
from portfolio.law import model as law
from portfolio.models import Certificate, Clearance, Event, Unit
from portfolio.selectors.board import door
from portfolio.selectors.missing import Missing, missing
from portfolio.selectors.reasons import Shown, Spoken, goes_on, shown
from portfolio.standing import ask_of

EVENTS_SHOWN = 12
SHORTEST_LINE_DAYS = 400
ACT_OF_DUTY = {"copy_to_": "copy_given", "confirm_to_": "confirmation_given"}


@dataclass(frozen=True)
class Verdict:
    """May it be let (or sold)? With the mark, if it carries one today, or else the last that ended."""

    purpose: str
    answer: law.Answer
    door: str
    mark: Clearance | None
    ended: Clearance | None
    bars: list[Shown]
    warnings: list[Shown]


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


@dataclass(frozen=True)
class DutyRow:
    duty: law.Duty
    about: str
    act: str
    """The act that would close it, or "" when something else does."""


@dataclass
class HomePage:
    unit: Unit
    day: date
    facts: Facts
    standing: law.Standing
    verdicts: list[Verdict]
    papers: list[Certificate]
    line: TimeLine | None
    duties: list[DutyRow]
    events: list[Event]
    events_total: int
    missing: list[Missing]
    open_defects: list[law.Defect] = field(default_factory=list)
    closed_defects: list[law.Defect] = field(default_factory=list)
    names: dict[str, str] = field(default_factory=dict)
    """Plain words for each ref of the home."""


def home_page(unit: Unit, *, day: date, today: date) -> HomePage:
    """What stands on record about the home and what follows from it on `day`; marks are today's."""
    facts = facts_of([unit.pk])[unit.pk]
    standing = ask_of(unit, facts, day)
    papers = papers_of(unit)
    names = names_of(facts[1])
    events = events_of(unit)
    defects = sorted(facts[1].defects or (), key=lambda d: (d.found or date.min, d.ref), reverse=True)
    page = HomePage(
        unit=unit,
        day=day,
        facts=facts,
        standing=standing,
        verdicts=verdicts(Spoken(unit, names, {p.ref: p.pk for p in papers}), standing, day=day, today=today),
        papers=papers,
        line=time_line(standing, papers, day),
        duties=[_duty_row(duty, names) for duty in sorted(standing.duties, key=_by_due)],
        events=list(events[:EVENTS_SHOWN]),
        events_total=events.count(),
        missing=missing(*facts),
        names=names,
    )
    for defect in defects:
        shut = defect.confirmed is not None and defect.confirmed <= day
        (page.closed_defects if shut else page.open_defects).append(defect)
    return page


def verdicts(home: Spoken, standing: law.Standing, *, day: date, today: date) -> list[Verdict]:
    kept = home.unit.clearances.select_related("marked_by").defer("facts", "answer", "packs").order_by("pk")
    last = {mark.purpose: mark for mark in kept}
    marks = {purpose: mark for purpose, mark in last.items() if live_on(mark, today)}
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


def shown_for(unit: Unit, reasons: Iterable[law.Reason]) -> list[Shown]:
    """Reasons about a home in words for its pages."""
    names = names_of(facts_of([unit.pk])[unit.pk][1])
    papers = dict(unit.certificates.values_list("ref", "pk"))
    return shown(reasons, Spoken(unit, names, papers))


def papers_of(unit: Unit) -> list[Certificate]:
    """The papers of a home with their files and appliance results, the latest first."""
    papers = unit.certificates.prefetch_related("documents", "checks__appliance")
    return sorted(papers, key=lambda paper: (paper_day(paper) or date.min, paper.pk), reverse=True)


def paper_day(paper: Any) -> date | None:
    """The day a paper is known by: inspected, registered, issued or, still undecided, applied for."""
    return paper.inspected or paper.registered or paper.issued or paper.applied


def events_of(unit: Unit) -> "QuerySet[Event]":
    return unit.events.select_related("actor").order_by("-seq")


def paper_words(paper: Any) -> str:
    """A paper in words: its kind and its day."""
    kind, day = words.CERTIFICATE[paper.kind], paper_day(paper)
    return f"{kind}, {day.day} {day:%b %Y}" if day else f"{kind}, day not recorded"


def names_of(unit: law.Unit) -> dict[str, str]:
    """Plain words for each ref within a home. A ref used in two lists keeps the first meaning."""
    rooms = {room.ref: words.ROOM_USE.get(room.use or "", room.ref) for room in unit.rooms or ()}

    def placed(thing: law.Appliance | law.Alarm, table: dict[str, str]) -> str:
        kind = table.get(thing.kind or "", thing.ref)
        return f"{kind}, {rooms[thing.room].lower()}" if thing.room in rooms else kind

    pairs: Iterable[tuple[str, str]] = (
        *((paper.ref, paper_words(paper)) for paper in unit.certificates or ()),
        *((defect.ref, defect.title or words.CODE[defect.code]) for defect in unit.defects or ()),
        *((one.ref, placed(one, words.APPLIANCE)) for one in unit.appliances or ()),
        *((one.ref, placed(one, words.ALARM)) for one in unit.alarms or ()),
        *(
            (one.ref, f"Tenancy from {one.starts:%-d %b %Y}" if one.starts else "Tenancy")
            for one in unit.tenancies or ()
        ),
        *rooms.items(),
    )
    names: dict[str, str] = {}
    for ref, name in pairs:
        names.setdefault(ref, name)
    return names


def time_line(standing: law.Standing, papers: list[Certificate], day: date) -> TimeLine | None:
    """How long each governing paper lasts, against the day asked about; None when there is none to draw."""
    by_ref = {paper.ref: paper for paper in papers}
    governed = [
        (requirement, start, requirement.due)
        for requirement in standing.requirements
        if requirement.due and requirement.certificate in by_ref
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


def _by_due(duty: law.Duty) -> tuple[bool, date, str]:
    return duty.state == law.DutyState.DONE, duty.due or date.max, duty.id


def _duty_row(duty: law.Duty, names: dict[str, str]) -> DutyRow:
    name = duty.id.rpartition(".")[2]
    act = next((act for start, act in ACT_OF_DUTY.items() if name.startswith(start)), "")
    return DutyRow(duty, names.get(duty.of or "", ""), act)
