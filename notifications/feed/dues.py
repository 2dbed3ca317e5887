"""Papers that run out and duties that fall due, one by one or, where they are many, one entry for a day and kind."""

from collections import Counter, defaultdict
from collections.abc import Iterator
from datetime import date
from typing import Any, NamedTuple
from urllib.parse import urlencode

from django.db.models import Count, QuerySet
from django.urls import reverse

from notifications.feed.shape import DUTY, RENEWAL, Asked, Change, Entry, page, uid_of
from portfolio import words
from portfolio.facts import facts_of
from portfolio.models import Due, Unit
from portfolio.selectors.calendar import requirement_title
from portfolio.selectors.duties import title_of, titles
from portfolio.selectors.naming import names_of
from portfolio.standing import dues


class Row(NamedTuple):
    """A day of one home, as it is stored."""

    due: date
    is_duty: bool
    unit: int
    code: str
    of: str
    party: str


def many(asked: Asked) -> int:
    return _stored(asked).count() + len(_worked_out(asked))


def each(asked: Asked) -> list[Entry]:
    """An entry for each paper and duty."""
    rows = [Row(*row) for row in _stored(asked).order_by().values_list(*_COLUMNS)]
    rows = sorted([*rows, *_worked_out(asked)])
    ids = {row.unit for row in rows}
    homes = Unit.objects.select_related("building").in_bulk(ids)
    names = {pk: names_of(unit) for pk, (_, unit) in facts_of(ids).items()}
    changes, known = asked.changes(ids), titles()
    return [
        _duty(row, homes[row.unit], names[row.unit].get(row.of, row.of), changes[row.unit], known)
        if row.is_duty
        else _paper(row, homes[row.unit], names[row.unit].get(row.of, row.of), changes[row.unit])
        for row in rows
    ]


def by_day(asked: Asked) -> list[Entry]:
    """An entry for each day with papers, and one for each with duties: how many of what, and where they are listed."""
    counted: Counter[tuple[date, bool, str]] = Counter()
    rows = _stored(asked).order_by().values_list("due", "is_duty", "code")
    for due, is_duty, code, n in rows.annotate(n=Count("pk")):
        counted[due, is_duty, code] += n
    counted.update((row.due, row.is_duty, row.code) for row in _worked_out(asked))
    known, days = titles(), defaultdict[tuple[date, bool], Counter[str]](Counter)
    for (due, is_duty, code), n in counted.items():
        days[due, is_duty][title_of(code, known) if is_duty else requirement_title(code)] += n
    last = asked.last_change()
    return [_together(asked, due, is_duty, of, last) for (due, is_duty), of in sorted(days.items())]


_COLUMNS = ("due", "is_duty", "unit_id", "code", "of", "party")


def _stored(asked: Asked) -> "QuerySet[Due]":
    homes = asked.reached.stored.values("pk")
    return Due.objects.filter(unit__in=homes, due__gte=asked.first, due__lte=asked.last)


def _worked_out(asked: Asked) -> list[Row]:
    return [row for row in _rows(asked) if asked.first <= row.due <= asked.last]


def _rows(asked: Asked) -> Iterator[Row]:
    for pk, standing in asked.reached.worked_out.items():
        for _, is_duty, code, due, party, of in dues(pk, standing):
            if due is not None:
                yield Row(due, is_duty, pk, code, of, party)


def _paper(row: Row, home: Unit, about: str, change: Change) -> Entry:
    url = page(reverse("home", args=[home.pk]))
    lines = [about, "This is the last day on which it counts.", url]
    summary = f"{requirement_title(row.code)} runs out: {home}"
    return _entry(RENEWAL, row, summary, lines, url, change)


def _duty(row: Row, home: Unit, about: str, change: Change, known: dict[str, str]) -> Entry:
    url = page(f"{reverse('home', args=[home.pk])}#duties")
    party = words.PARTY.get(row.party, row.party)
    lines = [party and f"For: {party}", about and f"About: {about}", "This is the last day in time.", url]
    return _entry(DUTY, row, f"{title_of(row.code, known)}: {home}", lines, url, change)


def _entry(kind: str, row: Row, summary: str, lines: list[str], url: str, change: Change) -> Entry:
    # The day is part of what it is known by: the law alone may move it, and then it is another entry to act upon.
    known_by = uid_of(kind, row.unit, row.code, row.of, row.party, row.due)
    return Entry(kind, known_by, row.due, summary, "\n".join(filter(None, lines)), url, change.at)


def _together(asked: Asked, due: date, is_duty: bool, of: "Counter[str]", last: Change) -> Entry:
    kind, n = (DUTY, of.total()) if is_duty else (RENEWAL, of.total())
    what = ("duty falls due" if n == 1 else "duties fall due") if is_duty else _run_out(n)
    counts = [f"{title} {many}" for title, many in sorted(of.items(), key=lambda one: (-one[1], one[0]))]
    url = page(_list_of(asked, due, is_duty))
    return Entry(
        kind,
        uid_of(kind, "day", due, asked.feed.user_id),
        due,
        f"{n} {what}: {', '.join(counts)}",
        "\n".join([*counts, url]),
        url,
        last.at,
        last.seq,
    )


def _run_out(n: int) -> str:
    return "paper runs out" if n == 1 else "papers run out"


def _list_of(asked: Asked, due: date, is_duty: bool) -> str:
    """The page that lists them; the calendar has no months that are past, but what is late stands under duties."""
    if due < asked.day:
        return f"{reverse('duties')}?when=late"
    query: dict[str, Any] = {"what": "duties" if is_duty else "lapses", "only": due}
    return f"{reverse('calendar_month', args=[f'{due:%Y-%m}'])}?{urlencode(query)}"
