"""Answers for lists over many homes: the stored ones where they cover the day, the rest worked out."""

from dataclasses import dataclass
from datetime import date

from django.db.models import QuerySet

from portfolio.law.model import Standing
from portfolio.models import Unit
from portfolio.standing import on_day, stale_on

MOST_WORKED_OUT = 2_000
"""So many homes at most are asked again while a page about another day waits."""


@dataclass(frozen=True, slots=True)
class Reach:
    """The day that answers could be had for, and those that had to be worked out; all others are as stored."""

    day: date
    worked_out: dict[int, Standing]
    stored: "QuerySet[Unit]"
    """The homes whose stored answers hold on that day."""


class Behind(Exception):
    """The answers of too many homes are out of date: what is stored may be wrong, and to ask anew takes too long."""


def reach(homes: "QuerySet[Unit]", day: date, today: date) -> Reach:
    """Answers for `day`, or for today where that day would mean asking too many homes.

    What is stored and does not cover today is always asked again, however many homes it is: a stale answer is never
    shown.
    """
    stale = _stale(homes, day)
    if day != today:
        few = list(stale[: MOST_WORKED_OUT + 1])
        if len(few) <= MOST_WORKED_OUT:
            return _reach(homes, few, day)
    return _reach(homes, list(_stale(homes, today)), today)


def _reach(homes: "QuerySet[Unit]", stale: list[int], day: date) -> Reach:
    stored = homes.exclude(pk__in=_stale(homes, day)) if stale else homes
    return Reach(day, on_day(stale, day), stored.order_by())


def _stale(homes: "QuerySet[Unit]", day: date) -> "QuerySet[Unit, int]":
    return homes.filter(stale_on(day)).order_by().values_list("pk", flat=True)


def reach_now(homes: "QuerySet[Unit]", today: date) -> Reach:
    """Answers for today, for a program that can come again. Raises Behind rather than ask many homes."""
    stale = list(_stale(homes, today)[: MOST_WORKED_OUT + 1])
    if len(stale) > MOST_WORKED_OUT:
        raise Behind
    return _reach(homes, stale, today)
