"""What if announced law came into force: which homes it would bar, over all that a person may see."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from typing import NamedTuple

from django.db.models import QuerySet

from portfolio import words
from portfolio.facts import facts_of
from portfolio.house_policy import books_of
from portfolio.law.evaluate import evaluate
from portfolio.law.lawbook import Announced, Lawbook, Topic
from portfolio.law.loader import load
from portfolio.law.model import Reason, Standing
from portfolio.law.variants import announced, assuming, gained
from portfolio.models import Unit
from portfolio.selectors.reach import MOST_WORKED_OUT
from portfolio.standing import CHUNK

STOPS = {"let": "a letting", "sale": "a sale"}


@dataclass(frozen=True, slots=True)
class Assumable:
    """Announced law that can be reckoned with."""

    topic: Topic
    entry: Announced
    nations: str
    stops: bool
    """Does its requirement stop a letting or a sale, and not only warn?"""


class Barred(NamedTuple):
    """A home that the announced law would bar. `anyway`: so it would be on that day without it."""

    unit: int
    reasons: dict[str, tuple[Reason, ...]]
    anyway: bool


@dataclass(frozen=True, slots=True)
class WhatIf:
    asked: int
    barred: list[Barred]

    @property
    def anyway(self) -> int:
        return sum(one.anyway for one in self.barred)


@dataclass(frozen=True, slots=True)
class BarredLine:
    """A row: each reason with the purposes it bars, in words."""

    home: Unit
    reasons: list[tuple[str, Reason]]
    anyway: bool


def assumable() -> dict[str, Assumable]:
    """Everything announced that sets values, by its id."""
    book = load()
    nations = {pack.name: ", ".join(words.NATION[one] for one in pack.nations) for pack in book.packs}
    return {
        name: Assumable(topic, entry, nations[topic.pack], "block" in (topic.let, topic.sale))
        for name, (topic, entry) in announced(book).items() if entry.sets
    }  # fmt: skip


def what_if(homes: "QuerySet[Unit]", name: str, begins: date, day: date) -> WhatIf | None:
    """Ask each home about `day` twice: as the law is held, and as if `name` were in force from `begins` on.

    None where that would be too many homes to ask while a page waits. Nothing is stored.
    """
    ids = list(homes.order_by("pk").values_list("pk", flat=True)[: MOST_WORKED_OUT + 1])
    if len(ids) > MOST_WORKED_OUT:
        return None
    barred: list[Barred] = []
    supposed: dict[int, Lawbook] = {}
    for start in range(0, len(ids), CHUNK):
        chunk = ids[start : start + CHUNK]
        books = books_of(chunk)
        for pk, (building, unit) in facts_of(chunk).items():
            book = books.get(pk, load())
            if id(book) not in supposed:
                supposed[id(book)] = assuming(book, {name: begins})
            plain = evaluate(book, building, unit, day)
            reasons = gained(plain, evaluate(supposed[id(book)], building, unit, day))
            if reasons:
                barred.append(Barred(pk, reasons, _barred_anyway(plain, reasons)))
    return WhatIf(len(ids), barred)


def _barred_anyway(plain: Standing, reasons: Iterable[str]) -> bool:
    """Is every purpose that the announced law would bar barred without it too?"""
    return not any(getattr(plain, purpose).clear for purpose in reasons)


def barred_lines(rows: Iterable[Barred]) -> list[BarredLine]:
    """The rows of one page with their homes."""
    found = list(rows)
    homes = Unit.objects.select_related("building", "landlord").in_bulk([one.unit for one in found])
    return [BarredLine(homes[one.unit], _together(one.reasons), one.anyway) for one in found]


def _together(reasons: dict[str, tuple[Reason, ...]]) -> list[tuple[str, Reason]]:
    """Each reason once, with the purposes it bars."""
    purposes: dict[Reason, list[str]] = {}
    for purpose, listed in reasons.items():
        for reason in listed:
            purposes.setdefault(reason, []).append(STOPS[purpose])
    return [(f"Stops {' and '.join(found)}.", reason) for reason, found in purposes.items()]
