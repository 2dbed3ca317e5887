"""What is owed over all homes a person may see: duties not done, by their last day."""

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any, NamedTuple

from django.db.models import Count, F, Q, QuerySet

from portfolio import words
from portfolio.facts import facts_of
from portfolio.law.loader import load
from portfolio.models import Due, Unit
from portfolio.selectors.law import duty_titles
from portfolio.selectors.naming import names_of
from portfolio.selectors.reach import Reach, reach
from portfolio.selectors.steps import Step, step_to_send
from portfolio.standing import dues


class Owed(NamedTuple):
    """One duty of one home, as it is stored. `due`: its last day; None where the law names none."""

    unit: int
    code: str
    due: date | None
    party: str
    of: str


@dataclass(frozen=True)
class When:
    """One way to narrow duties by their day: in the database, and in memory."""

    words: str
    condition: Callable[[date], Q]
    holds: Callable[[date | None, date], bool]


def _within(days: int) -> When:
    return When(
        f"Due within {days} days",
        lambda day: Q(due__gte=day, due__lte=day + timedelta(days=days)),
        lambda due, day: due is not None and day <= due <= day + timedelta(days=days),
    )


WHEN: dict[str, When] = {
    "late": When("Late", lambda day: Q(due__lt=day), lambda due, day: due is not None and due < day),
    "7": _within(7),
    "30": _within(30),
    "90": _within(90),
    "no-day": When("No day in law", lambda day: Q(due__isnull=True), lambda due, day: due is None),
}


@dataclass(frozen=True, slots=True)
class Wanted:
    """How the list is narrowed; an empty text asks for all."""

    when: str = ""
    party: str = ""
    kind: str = ""


@dataclass(frozen=True)
class Duties:
    rows: "QuerySet[Due, Any] | list[Owed]"
    total: int
    """Before they are narrowed by their day."""
    counts: dict[str, int]
    """Of those, how many each of WHEN holds for."""
    worked_out: bool
    """False: duties are those of today, because too many homes would have to be asked about the day."""


@dataclass(frozen=True, slots=True)
class DutyLine:
    """A duty for a row of the list."""

    home: Unit
    title: str
    due: date | None
    late: bool
    party: str
    about: str
    send: Step | None = None
    """Where it can be done by e-mail, if it asks for a copy of a paper."""


def duties(homes: "QuerySet[Unit]", wanted: Wanted, *, day: date, today: date) -> Duties:
    """The duties of these homes that are not done, those with a day first, the earliest on top."""
    reached = reach(homes, day, today)
    kept = _kept(reached.stored, wanted)
    if reached.worked_out:
        return _in_memory(kept, wanted, day, reached)
    counts = kept.aggregate(
        total=Count("pk"),
        **{f"n_{name}": Count("pk", filter=one.condition(day)) for name, one in WHEN.items()},
    )
    narrowed = kept.filter(WHEN[wanted.when].condition(day)) if wanted.when else kept
    rows = narrowed.order_by(F("due").asc(nulls_last=True), "code", "unit", "of", "party")
    return Duties(
        rows=rows.values_list("unit_id", "code", "due", "party", "of"),
        total=counts.pop("total"),
        counts={name: counts[f"n_{name}"] for name in WHEN},
        worked_out=reached.day == day,
    )


def _kept(homes: "QuerySet[Unit]", wanted: Wanted) -> "QuerySet[Due]":
    rows = Due.objects.filter(is_duty=True, unit__in=homes.values("pk"))
    if wanted.party:
        rows = rows.filter(party=wanted.party)
    return rows.filter(code=wanted.kind) if wanted.kind else rows


def _in_memory(kept: "QuerySet[Due]", wanted: Wanted, day: date, reached: Reach) -> Duties:
    rows = [Owed(*row) for row in kept.values_list("unit_id", "code", "due", "party", "of")]
    for pk, standing in reached.worked_out.items():
        for _, is_duty, code, due, party, of in dues(pk, standing):
            if is_duty and wanted.party in ("", party) and wanted.kind in ("", code):
                rows.append(Owed(pk, code, due, party, of))
    rows.sort(key=lambda one: (one.due is None, one.due or day, one.code, one.unit, one.of, one.party))
    return Duties(
        rows=[one for one in rows if not wanted.when or WHEN[wanted.when].holds(one.due, day)],
        total=len(rows),
        counts={name: sum(when.holds(one.due, day) for one in rows) for name, when in WHEN.items()},
        worked_out=reached.day == day,
    )


def titles() -> dict[str, str]:
    """What each duty asks, by its id."""
    return duty_titles(load().topics.values())


def title_of(code: str, known: Mapping[str, str]) -> str:
    """What a stored duty asks; an answer of an older law pack may name one that is no longer held."""
    return known.get(code, "A duty of a law pack that is no longer held")


def duty_lines(rows: Iterable[Any], *, day: date) -> list[DutyLine]:
    """The rows of one page, with their homes and with what each is about in words."""
    owed = [Owed(*row) for row in rows]
    ids = {one.unit for one in owed}
    homes = Unit.objects.select_related("building", "landlord").in_bulk(ids)
    names = {pk: names_of(unit) for pk, (_, unit) in facts_of(ids).items()}
    known = titles()
    return [
        DutyLine(
            home=homes[one.unit],
            title=title_of(one.code, known),
            due=one.due,
            late=one.due is not None and one.due < day,
            party=words.PARTY.get(one.party, one.party),
            about=names[one.unit].get(one.of, one.of),
            send=step_to_send(one.code, one.of, one.party, homes[one.unit]),
        )
        for one in owed
    ]


DOWNLOAD_HEADINGS = (
    "Last day", "Late", "What is due", "For", "About (ref)", "Home", "Building", "Postcode", "Ref", "Landlord",
)  # fmt: skip


def download_rows(rows: Iterable[Any], homes: "QuerySet[Unit]", *, day: date) -> Iterable[tuple[object, ...]]:
    """Every row as the cells of a download, under DOWNLOAD_HEADINGS."""
    columns = ("label", "building__name", "building__postcode", "ref", "landlord__name")
    known, found = titles(), list(rows)  # before the homes, so that none of them can come in between
    about = {pk: cells for pk, *cells in homes.order_by().values_list("pk", *columns)}
    for row in found:
        one = Owed(*row)
        late = one.due is not None and one.due < day
        party = words.PARTY.get(one.party, one.party)
        yield one.due, late, title_of(one.code, known), party, one.of, *about[one.unit]
