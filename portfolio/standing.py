"""Keeps each home's standing: asks the law in bulk, stores the answer, withdraws marks that no longer hold."""

from collections.abc import Iterable, Iterator
from datetime import date
from typing import Any

from django.db import transaction
from django.db.models import F, Q

from portfolio.clock import Moment
from portfolio.facts import Facts, facts_of
from portfolio.law import model as law
from portfolio.law.evaluate import as_json, evaluate
from portfolio.law.loader import load
from portfolio.models import Clearance, StoredStanding, Unit
from portfolio.services.events import Happening, Verb, record
from portfolio.services.write import locked_units

CHUNK = 500


def ask(facts: Facts, on: date) -> law.Standing:
    """What the law and the house policy say of these facts on that day."""
    building, unit = facts
    return evaluate(load(), building, unit, on)


def on_day(unit_ids: Iterable[int], on: date) -> dict[int, law.Standing]:
    """The standing of each unit on any day, from what is on record now. Stores nothing."""
    answers: dict[int, law.Standing] = {}
    for chunk in _chunks(unit_ids):
        answers.update({pk: ask(facts, on) for pk, facts in facts_of(chunk).items()})
    return answers


@transaction.atomic
def refresh(unit_ids: Iterable[int], *, moment: Moment, actor: Any = None) -> dict[int, law.Standing]:
    """Ask again for these units, store the answers, and withdraw every clearance that no longer holds.

    Belongs in the transaction that changed the facts. Returns the standing of each unit by its id.
    """
    answers: dict[int, law.Standing] = {}
    chunks = list(_chunks(unit_ids))
    for chunk in chunks:  # every home before the agency's chain of events: one order for all writers
        locked_units(chunk)
    for chunk in chunks:
        asked = {pk: ask(facts, moment.day) for pk, facts in facts_of(chunk).items()}
        _store(asked)
        _withdraw(asked, actor=actor, moment=moment)
        answers.update(asked)
    return answers


def due_units(day: date) -> list[int]:
    """Ids of the units whose stored standing says nothing of this day any more, or that have none."""
    due = Unit.objects.filter(stale_on(day))
    return list(due.order_by("pk").values_list("pk", flat=True))


def stale_on(day: date, path: str = "") -> Q:
    """The condition (on Unit, or on a relation `path__` to it) that no stored answer covers this day.

    An answer of other law packs than those held now covers no day: a new release is asked about everywhere.
    """
    p = f"{path}standing__"
    said_nothing = Q(**{f"{p}isnull": True}) | Q(**{f"{p}changes_on__lte": day}) | Q(**{f"{p}on__gt": day})
    return said_nothing | ~Q(**{f"{p}law": law_held()})


def law_held() -> str:
    """Every pack held and its version, in one line."""
    return ", ".join(f"{pack.name} {pack.version}" for pack in load().packs)


def catch_up(moment: Moment, limit: int = 20_000) -> int:
    """The nightly work: ask again for units whose day has come. Safe to run twice and at once.

    Each chunk is its own transaction, so that a killed worker loses no more than one.
    """
    due = due_units(moment.day)[:limit]
    for chunk in _chunks(due):
        refresh(chunk, moment=moment)
    return len(due)


def _chunks(ids: Iterable[int]) -> Iterator[list[int]]:
    ordered = sorted(set(ids))
    for start in range(0, len(ordered), CHUNK):
        yield ordered[start : start + CHUNK]


def _store(asked: dict[int, law.Standing]) -> None:
    rows = [StoredStanding(unit_id=pk, **stored_fields(standing)) for pk, standing in asked.items()]
    if rows:
        StoredStanding.objects.bulk_create(
            rows,
            update_conflicts=True,
            unique_fields=["unit"],
            update_fields=list(stored_fields(next(iter(asked.values())))),
        )


def stored_fields(standing: law.Standing) -> dict[str, Any]:
    """The columns of a stored standing."""
    return {
        "on": standing.on,
        "let_clear": standing.let.clear,
        "let_until": standing.let.until,
        "let_first": first_reason(standing.let),
        "sale_clear": standing.sale.clear,
        "sale_until": standing.sale.until,
        "sale_first": first_reason(standing.sale),
        "changes_on": standing.changes_on,
        "answer": as_json(standing),
        "packs": dict(standing.packs),
        "law": law_held(),
    }


def first_reason(answer: law.Answer) -> str:
    """The first bar in words, or the first warning of a clear home, or nothing."""
    for reason in (*answer.bars, *answer.warnings):
        return reason.says
    return ""


def answer_for(standing: law.Standing, purpose: str) -> law.Answer:
    return standing.let if purpose == "let" else standing.sale


def _withdraw(asked: dict[int, law.Standing], *, actor: Any, moment: Moment) -> None:
    # By agency first: the nightly work withdraws marks of several, and takes hold of their chains in one order.
    live = Clearance.objects.filter(unit__in=list(asked), withdrawn_at__isnull=True).order_by(
        "unit__agency", "unit", "purpose"
    )
    for clearance in live.annotate(agency=F("unit__agency")):
        answer = answer_for(asked[clearance.unit_id], clearance.purpose)
        if not answer.clear:
            withdraw(clearance, why=first_reason(answer), by=None, actor=actor, moment=moment)


def withdraw(clearance: Clearance, *, why: str, by: Any, actor: Any, moment: Moment) -> None:
    """End a clearance with its reason and an event. `by` is the person, or None when it ended by itself."""
    clearance.withdrawn_at, clearance.withdrawn_on = moment.at, moment.day
    clearance.withdrawn_by, clearance.withdrawn_why = by, why
    clearance.save(update_fields=["withdrawn_at", "withdrawn_on", "withdrawn_by", "withdrawn_why"])
    word = clearance.get_purpose_display().lower()
    how = "taken back" if by else "withdrawn by itself"
    happening = Happening(
        verb=Verb.CLEARANCE_WITHDRAWN,
        subject=f"clearance:{clearance.pk}",
        says=f"The mark '{word}' was {how}: {why}",
        unit_id=clearance.unit_id,
        data={"purpose": clearance.purpose, "by_itself": by is None},
    )
    record([happening], agency_id=clearance.unit.agency_id, actor=actor, moment=moment)
