"""The board: the homes a person may see, each with its answer on a day.

For today the answers are the stored ones and the database filters, sorts and pages them. For another day, or
while a stored answer no longer covers today, the answers that do not cover the day are worked out and the
rest is done in memory; a stale answer is never shown.
"""

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any

from django.db.models import Case, Count, Exists, F, OuterRef, Q, QuerySet, Value, When
from django.db.models.functions import Left, Length, StrIndex, Substr

from portfolio.models import Clearance, StoredStanding, Unit
from portfolio.standing import on_day, stale_on, stored_fields

ENDS_WITHIN_DAYS = 30
"""What the board means by an answer that ends soon."""
CLOCK_WITHIN_DAYS = 60
"""A clear answer that ends within this is drawn with a clock."""


@dataclass(frozen=True)
class Choice:
    """One way to narrow the board by answer: in the database, and in memory."""

    words: str
    condition: Callable[[date], Q]
    holds: Callable[[Any, date], bool]


def _plain(words: str, **fields: bool) -> Choice:
    return Choice(
        words,
        lambda day: Q(**{f"standing__{name}": value for name, value in fields.items()}),
        lambda unit, day: all(getattr(unit.standing, name) is value for name, value in fields.items()),
    )


def _ends(words: str, purpose: str) -> Choice:
    clear, until = f"{purpose}_clear", f"{purpose}_until"

    def condition(day: date) -> Q:
        last = day + timedelta(days=ENDS_WITHIN_DAYS)
        return Q(**{f"standing__{clear}": True, f"standing__{until}__lte": last})

    def holds(unit: Any, day: date) -> bool:
        end = getattr(unit.standing, until)
        return (
            getattr(unit.standing, clear)
            and end is not None
            and end <= day + timedelta(days=ENDS_WITHIN_DAYS)
        )

    return Choice(words, condition, holds)


ANSWERS: dict[str, Choice] = {
    "let": _plain("Can be let", let_clear=True),
    "not-let": _plain("Cannot be let", let_clear=False),
    "sale": _plain("Can be sold", sale_clear=True),
    "not-sale": _plain("Cannot be sold", sale_clear=False),
    "neither": _plain("Can be neither let nor sold", let_clear=False, sale_clear=False),
    "let-ends": _ends(f"Can be let, but not after {ENDS_WITHIN_DAYS} days", "let"),
    "sale-ends": _ends(f"Can be sold, but not after {ENDS_WITHIN_DAYS} days", "sale"),
    "marked": Choice(
        "Marked to let or for sale",
        lambda day: Q(marked_let=True) | Q(marked_sale=True),
        lambda unit, day: unit.marked_let or unit.marked_sale,
    ),
    "not-marked": Choice(
        "Can be let, but not marked",
        lambda day: Q(standing__let_clear=True, marked_let=False),
        lambda unit, day: unit.standing.let_clear and not unit.marked_let,
    ),
}
COUNTED = ("let", "not-let", "sale", "not-sale", "let-ends", "marked")
"""The choices whose numbers stand above the board."""


@dataclass(frozen=True)
class Board:
    units: "QuerySet[Unit] | list[Unit]"
    total: int
    """Homes before they are narrowed by answer."""
    counts: dict[str, int]
    """Of those, how many each of COUNTED holds for."""


def homes_for(user: Any, today: date) -> "QuerySet[Unit]":
    """Every home the person may see, with what a row of the board shows; marks are today's."""
    live = Clearance.objects.filter(unit=OuterRef("pk"), withdrawn_at__isnull=True).filter(
        Q(until__isnull=True) | Q(until__gte=today)
    )
    first_space = StrIndex("building__name", Value(" "))
    numbered = Q(first_letter__in="0123456789")
    return (
        Unit.objects.visible_to(user)
        .select_related("building", "landlord", "standing")
        .defer("standing__answer", "standing__packs")
        .annotate(
            marked_let=Exists(live.filter(purpose="let")),
            marked_sale=Exists(live.filter(purpose="sale")),
            # Shorter names first, so that Flat 2 comes before Flat 10, and 2 Plumb Lane before 10 Plumb Lane.
            label_length=Length("label"),
            first_letter=Left("building__name", 1),
            street=Case(
                When(numbered, then=Substr("building__name", first_space + 1)), default=F("building__name")
            ),
            number_length=Case(When(numbered, then=first_space), default=0),
        )
        .order_by("street", "number_length", "building__name", "label_length", "label", "pk")
    )


def board(homes: "QuerySet[Unit]", *, answer: str, day: date) -> Board:
    """The homes on that day, narrowed to one of ANSWERS (or "" for all)."""
    stale = list(homes.filter(stale_on(day)).order_by().values_list("pk", flat=True))
    if stale:
        return _worked_out(homes, stale, answer, day)
    conditions = {name: ANSWERS[name].condition(day) for name in COUNTED}
    counts = homes.aggregate(
        total=Count("pk"), **{_key(name): Count("pk", filter=q) for name, q in conditions.items()}
    )
    return Board(
        units=homes.filter(ANSWERS[answer].condition(day)) if answer else homes,
        total=counts.pop("total"),
        counts={name: counts[_key(name)] for name in COUNTED},
    )


def _worked_out(homes: "QuerySet[Unit]", stale: list[int], answer: str, day: date) -> Board:
    units = list(homes)
    answers = on_day(stale, day)
    for unit in units:
        if unit.pk in answers:
            unit.standing = StoredStanding(**stored_fields(answers[unit.pk]))
    return Board(
        units=list(_narrowed(units, answer, day)),
        total=len(units),
        counts={name: sum(1 for _ in _narrowed(units, name, day)) for name in COUNTED},
    )


def _narrowed(units: list[Unit], answer: str, day: date) -> Iterable[Unit]:
    return (unit for unit in units if not answer or ANSWERS[answer].holds(unit, day))


def _key(name: str) -> str:
    return "n_" + name.replace("-", "_")


def door(clear: bool, until: date | None, day: date) -> str:
    """Which door to draw: "clear" (ajar), "soon" (ajar, with a clock) or "barred"."""
    if not clear:
        return "barred"
    soon = until is not None and until <= day + timedelta(days=CLOCK_WITHIN_DAYS)
    return "soon" if soon else "clear"
