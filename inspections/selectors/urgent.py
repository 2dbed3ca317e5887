"""How soon defects have to be seen to, for any number of them at once: our days, the house policy's and the law's."""

from collections import defaultdict
from collections.abc import Callable, Mapping
from datetime import date
from functools import cache
from typing import NamedTuple

from django.db.models import QuerySet

from inspections.models import Defect
from inspections.urgency import Urgency, urgency
from portfolio.house_policy import settings_of
from portfolio.law.loader import load
from portfolio.law.policy import Policy, days_of
from portfolio.models import Due
from portfolio.selectors.duties import titles

REPAIR = frozenset(
    {
        "remedial_work",
        "remedial_notice",
        "safety_work",
        "make_safe",
        "further_work",
        "start_work",
        "investigate",
    }
)
"""Duties to do something about a defect, by the last part of their id; others are to tell somebody, or of papers."""
NOT_BY_ITS_REPORT = frozenset({"C3"})
"""Codes that the day for the work of a failing report does not speak of."""


class Asked(NamedTuple):
    """What the urgency of one defect turns on, in the order of FIELDS."""

    pk: int
    scheme: str
    code: str
    found: date | None
    trade: str | None
    suspected: bool
    unit: int
    ref: str
    paper: str | None
    nation: str | None
    agency: int


FIELDS = (
    "pk", "scheme", "code", "found", "trade", "suspected", "unit", "ref", "certificate__ref", "unit__building__nation",
    "unit__agency",
)  # fmt: skip
LawDay = tuple[date, str]
"""The last day and the id of the duty that sets it."""


def urgencies(defects: "QuerySet[Defect]") -> dict[int, Urgency]:
    """Band, last good day and reason of each of these defects, by its id. Three queries, however many they are."""
    rows = [Asked(*row) for row in defects.order_by().values_list(*FIELDS)]
    law_days, days, said = _law_days(defects), _days(rows), titles()
    ask = _remembering()
    found = {}
    for row in rows:
        due, duty = _law_day(row, law_days) or (None, "")
        title = said.get(duty, "")
        shared = (row.scheme, row.code, row.found, row.trade, row.suspected, row.nation)
        found[row.pk] = ask(*shared, due, title and f"{title}.", days[row.agency])
    return found


def _remembering() -> "Callable[..., Urgency]":
    """`urgency` asked once for all that are alike: most defects of a portfolio are."""

    @cache
    def ask(
        scheme: str,
        code: str,
        found: date | None,
        trade: str | None,
        suspected: bool,
        nation: str | None,
        law_due: date | None,
        law_says: str,
        days: tuple[tuple[int, int], ...],
    ) -> Urgency:
        return urgency(
            scheme,
            code,
            found=found,
            trade=trade,
            suspected=suspected,
            nation=nation,
            law_due=law_due,
            law_says=law_says,
            days=dict(days),
        )

    return ask


def _days(rows: list[Asked]) -> dict[int, tuple[tuple[int, int], ...]]:
    """The days for defects that the policy of each agency asks for."""
    book = load()
    return {
        agency: tuple(sorted(days_of(Policy.kept(settings_of(agency), book)).items()))
        for agency in {row.agency for row in rows}
    }


def _law_days(defects: "QuerySet[Defect]") -> Mapping[tuple[int, str], list[LawDay]]:
    """The last days of repair that the law sets, by the home and the ref of what they are about."""
    codes = [code for code in titles() if code.rpartition(".")[2] in REPAIR]
    rows = Due.objects.filter(
        is_duty=True, due__isnull=False, code__in=codes, unit__in=defects.order_by().values("unit")
    )
    found = defaultdict(list)
    for unit, of, due, code in rows.values_list("unit", "of", "due", "code"):
        if due is not None:
            found[unit, of].append((due, code))
    return found


def _law_day(row: Asked, law_days: Mapping[tuple[int, str], list[LawDay]]) -> LawDay | None:
    own = law_days.get((row.unit, row.ref), [])
    of_report = [] if row.paper is None else law_days.get((row.unit, row.paper), [])
    if row.code in NOT_BY_ITS_REPORT:
        of_report = []
    return min([*own, *of_report], default=None)
