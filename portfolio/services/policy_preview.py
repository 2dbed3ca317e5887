"""What a house policy would do to the homes of its agency, worked out beforehand. Stores nothing."""

from dataclasses import dataclass
from typing import Any

from django.db.models import Q

from portfolio import standing
from portfolio.clock import Moment
from portfolio.facts import facts_of
from portfolio.law.loader import load
from portfolio.law.policy import Policy, with_policy
from portfolio.models import Clearance, Unit
from portfolio.services.policies import clear_by_what_is_held

MOST_COUNTED = 2_000
"""Homes that are asked about within one page load; beyond it nothing is counted beforehand."""
MOST_NAMED = 50


@dataclass(frozen=True, slots=True)
class LostMark:
    """A mark that would be withdrawn, and the first reason."""

    unit: Unit
    purpose: str
    why: str


@dataclass(frozen=True, slots=True)
class Preview:
    homes: int
    counted: bool
    """False: there are too many homes, and nothing below is known."""
    barred: dict[str, int]
    """Homes that are clear now and would not be, for "let" and "sale"."""
    cleared: dict[str, int]
    """Homes that are barred now and would be clear: where the new policy asks less than the one in force."""
    marks: int
    """Marks that would be withdrawn; the first of them are named."""
    named: tuple[LostMark, ...]


def policy_preview(agency_id: int, settings: dict[str, Any], moment: Moment) -> Preview:
    """What these settings would do today, beside the policy in force. Raises ValueError as `Policy.of`."""
    book = load()
    new = with_policy(book, Policy.of(settings, book))
    ids = list(Unit.objects.filter(agency=agency_id).order_by("pk").values_list("pk", flat=True))
    if len(ids) > MOST_COUNTED:
        return Preview(len(ids), False, {}, {}, 0, ())
    chunks = [ids[start : start + standing.CHUNK] for start in range(0, len(ids), standing.CHUNK)]
    was = clear_by_what_is_held(chunks, moment)
    would: dict[str, set[int]] = {"let": set(), "sale": set()}
    whys: dict[tuple[int, str], str] = {}
    for chunk in chunks:
        for pk, facts in facts_of(chunk).items():
            answer = standing.ask(facts, moment.day, new)
            for purpose in would:
                said = standing.answer_for(answer, purpose)
                if said.clear:
                    would[purpose].add(pk)
                else:
                    whys[pk, purpose] = standing.first_reason(said)
    lost = _lost(agency_id, whys, moment)
    return Preview(
        homes=len(ids),
        counted=True,
        barred={purpose: len(was[purpose] - would[purpose]) for purpose in would},
        cleared={purpose: len(would[purpose] - was[purpose]) for purpose in would},
        marks=len(lost),
        named=tuple(lost[:MOST_NAMED]),
    )


def _lost(agency_id: int, whys: dict[tuple[int, str], str], moment: Moment) -> list[LostMark]:
    """Live marks of homes that would be barred, by home."""
    holds = Q(withdrawn_at__isnull=True) & (Q(until__isnull=True) | Q(until__gte=moment.day))
    marks = Clearance.objects.filter(holds, unit__agency=agency_id).select_related("unit__building")
    fields = ("unit__building__name", "unit__building__ref", "unit__label", "unit__ref")
    rows = marks.only("purpose", *fields).order_by("unit__building__name", "unit__label", "unit", "purpose")
    return [
        LostMark(mark.unit, mark.purpose, whys[mark.unit_id, mark.purpose])
        for mark in rows if (mark.unit_id, mark.purpose) in whys
    ]  # fmt: skip
