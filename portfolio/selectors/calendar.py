"""Two years ahead over all homes a person may see: what lapses, what falls due, and how many homes stop being clear.

It reckons with what is on record: nothing more is taken to be recorded in those months.
"""

from collections import Counter
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any, NamedTuple

from django.db.models import Count, Q, QuerySet, Value
from django.db.models.functions import TruncMonth

from portfolio import words
from portfolio.facts import facts_of
from portfolio.house_policy import books_of
from portfolio.law.loader import load
from portfolio.law.model import Standing
from portfolio.models import Due, StoredStanding, Unit
from portfolio.selectors.duties import title_of, titles
from portfolio.selectors.naming import names_of
from portfolio.selectors.reach import Reach, reach
from portfolio.selectors.steps import Step, step_to_renew
from portfolio.standing import answer_for, ask, dues, first_reason

MONTHS = 25
"""The month of the day asked about, and the 24 after it."""
PURPOSES = ("let", "sale")
WHAT = {
    "lapses": "What runs out",
    "duties": "Duties that fall due",
    "let": "Homes that stop being clear to let",
    "sale": "Homes that stop being clear to sell",
}


class Row(NamedTuple):
    """Something with its day. `code`: requirement or duty, empty where a home stops being clear."""

    unit: int
    day: date
    code: str
    of: str
    party: str


@dataclass(frozen=True, slots=True)
class Lapsing:
    code: str
    title: str
    papers: int


@dataclass(frozen=True, slots=True)
class Month:
    first: date
    lapses: list[Lapsing]
    duties: int
    stops: dict[str, int]
    """Homes whose last clear day is in it, for "let" and "sale"."""
    still: dict[str, int]
    """Homes clear when it is over."""

    @property
    def papers(self) -> int:
        return sum(one.papers for one in self.lapses)


@dataclass(frozen=True, slots=True)
class Calendar:
    months: list[Month]
    homes: int
    clear: dict[str, int]
    """Homes clear on the day itself."""
    worked_out: bool
    """False: reckoned from today's answers, because too many homes would have to be asked about the day."""


class MonthRows(NamedTuple):
    rows: "QuerySet[Any, Any] | list[Row]"
    worked_out: bool
    """As for Calendar."""


@dataclass(frozen=True, slots=True)
class MonthLine:
    """A row of a month's list."""

    home: Unit
    day: date
    says: str
    about: str
    renew: Step | None = None
    """Where a contractor can be asked to renew what runs out."""


def calendar(homes: "QuerySet[Unit]", *, day: date, today: date) -> Calendar:
    """Month by month from `day` on."""
    reached = reach(homes, day, today)
    firsts = list(months_from(day))
    last = month_end(firsts[-1])
    named = _named_by_month(reached, day, last)
    clear, stops = {}, {}
    for purpose in PURPOSES:
        clear[purpose], stops[purpose] = _stops(reached, purpose, day, last)
    found, still = [], dict(clear)
    for first in firsts:
        here = {purpose: stops[purpose][first] for purpose in PURPOSES}
        still = {purpose: still[purpose] - here[purpose] for purpose in PURPOSES}
        codes = {code: n for (month, is_duty, code), n in named.items() if month == first and not is_duty}
        owed = sum(n for (month, is_duty, _), n in named.items() if month == first and is_duty)
        found.append(Month(first, _lapsing(codes), owed, here, still))
    return Calendar(found, homes.count(), clear, reached.day == day)


def months_from(day: date) -> Iterator[date]:
    """The first days of the months the calendar shows."""
    for number in range(day.month - 1, day.month - 1 + MONTHS):
        yield date(day.year + number // 12, number % 12 + 1, 1)


def month_end(first: date) -> date:
    return (first + timedelta(days=31)).replace(day=1) - timedelta(days=1)


def _lapsing(codes: Mapping[str, int]) -> list[Lapsing]:
    """Each requirement once by its title, those with most papers first; nations that share a title are told apart."""
    shared = Counter(map(requirement_title, codes))
    rows = [
        Lapsing(
            code, _title_where(code) if shared[requirement_title(code)] > 1 else requirement_title(code), n
        )
        for code, n in codes.items()
    ]
    return sorted(rows, key=lambda one: (-one.papers, one.title, one.code))


def _title_where(code: str) -> str:
    """The title with the nations that ask it."""
    book = load()
    pack = book.topics[code].pack if code in book.topics else ""
    where = next((one.title for one in book.packs if one.name == pack), "")
    return f"{requirement_title(code)} ({where})" if where else requirement_title(code)


def requirement_title(code: str) -> str:
    topic = load().topics.get(code)
    return topic.title if topic else "A requirement of a law pack that is no longer held"


def _named_by_month(reached: Reach, day: date, last: date) -> "Counter[tuple[date, bool, str]]":
    """How many days of each requirement or duty fall in each month."""
    kept = Due.objects.filter(unit__in=reached.stored.values("pk"), due__gte=day, due__lte=last)
    rows = kept.annotate(month=TruncMonth("due")).values_list("month", "is_duty", "code")
    found = Counter({(month, duty, code): n for month, duty, code, n in rows.annotate(n=Count("pk"))})
    for pk, standing in reached.worked_out.items():
        for _, is_duty, code, due, _party, _of in dues(pk, standing):
            if due is not None and day <= due <= last:
                found[due.replace(day=1), is_duty, code] += 1
    return found


def _stops(reached: Reach, purpose: str, day: date, last: date) -> tuple[int, "Counter[date]"]:
    """How many homes are clear on the day, and in which months the last clear days of how many are."""
    until = f"{purpose}_until"
    kept = StoredStanding.objects.filter(unit__in=reached.stored.values("pk"), **{f"{purpose}_clear": True})
    clear = kept.filter(Q(**{f"{until}__isnull": True}) | Q(**{f"{until}__gte": day})).count()
    ending = kept.filter(**{f"{until}__gte": day, f"{until}__lte": last})
    rows = ending.annotate(month=TruncMonth(until)).values_list("month").annotate(n=Count("pk"))
    stops: Counter[date] = Counter(dict(rows))
    for standing in reached.worked_out.values():
        answer = answer_for(standing, purpose)
        if answer.clear and (answer.until is None or answer.until >= day):
            clear += 1
            if answer.until is not None and answer.until <= last:
                stops[answer.until.replace(day=1)] += 1
    return clear, stops


def month_rows(
    homes: "QuerySet[Unit]",
    first: date,
    what: str,
    kind: str,
    *,
    day: date,
    today: date,
    only: date | None = None,
) -> MonthRows:
    """What one number of the calendar counts: `what` is one of WHAT, `kind` narrows papers to one requirement, `only`
    all of them to one day."""
    reached = reach(homes, day, today)
    start, last = (only, only) if only else (max(first, day), month_end(first))
    stored = _stored_rows(reached, what, kind, start, last)
    if not reached.worked_out:
        return MonthRows(stored, reached.day == day)
    rows = [Row(*row) for row in stored]
    for pk, standing in reached.worked_out.items():
        rows += [row for row in _rows_of(pk, standing, what, kind) if start <= row.day <= last]
    rows.sort(key=lambda row: (row.day, row.unit, row.code, row.of, row.party))
    return MonthRows(rows, reached.day == day)


def _stored_rows(reached: Reach, what: str, kind: str, start: date, last: date) -> "QuerySet[Any, Any]":
    homes = reached.stored.values("pk")
    if what in PURPOSES:
        until = f"{what}_until"
        found = {f"{what}_clear": True, f"{until}__gte": start, f"{until}__lte": last}
        kept = StoredStanding.objects.filter(unit__in=homes, **found).order_by(until, "unit")
        return kept.values_list("unit_id", until, Value(""), Value(""), Value(""))
    rows = Due.objects.filter(unit__in=homes, is_duty=what == "duties", due__gte=start, due__lte=last)
    rows = rows.filter(code=kind) if kind else rows
    return rows.order_by("due", "unit", "code", "of", "party").values_list(
        "unit_id", "due", "code", "of", "party"
    )


def _rows_of(pk: int, standing: Standing, what: str, kind: str) -> Iterator[Row]:
    if what in PURPOSES:
        answer = answer_for(standing, what)
        if answer.clear and answer.until is not None:
            yield Row(pk, answer.until, "", "", "")
        return
    for _, is_duty, code, due, party, of in dues(pk, standing):
        if is_duty is (what == "duties") and due is not None and kind in ("", code):
            yield Row(pk, due, code, of, party)


def month_lines(rows: Iterable[Any], what: str) -> list[MonthLine]:
    """The rows of one page in words: which paper, which duty, or what bars the home from the day after."""
    found = [Row(*row) for row in rows]
    ids = {row.unit for row in found}
    homes = Unit.objects.select_related("building", "landlord").in_bulk(ids)
    facts, books, known = facts_of(ids), books_of(ids), titles()
    lines = []
    for row in found:
        if what in PURPOSES:
            standing = ask(facts[row.unit], row.day + timedelta(days=1), books.get(row.unit))
            says, about = words.plainly(first_reason(answer_for(standing, what))), ""
        else:
            says = title_of(row.code, known) if what == "duties" else requirement_title(row.code)
            about = names_of(facts[row.unit][1]).get(row.of, row.of)
        renew = step_to_renew(row.code, homes[row.unit]) if what == "lapses" else None
        lines.append(MonthLine(homes[row.unit], row.day, says, about, renew))
    return lines
