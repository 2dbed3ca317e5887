"""Keeps each home's standing: asks the law in bulk, stores the answer, withdraws marks that no longer hold."""

from collections.abc import Iterable, Iterator
from datetime import date
from typing import Any

from django.db import transaction
from django.db.models import Exists, F, OuterRef, Q

from portfolio.clock import Moment
from portfolio.facts import Facts, facts_of
from portfolio.house_policy import asked_of_what_is_held, books_of, held
from portfolio.law import model as law
from portfolio.law.evaluate import as_json, evaluate
from portfolio.law.lawbook import Lawbook
from portfolio.law.loader import load
from portfolio.law.policy import POLICY
from portfolio.law.rules.danger import speaks_of_a_defect
from portfolio.models import Clearance, Due, StoredStanding, Unit
from portfolio.services.events import Happening, Verb, record
from portfolio.services.write import locked_units

CHUNK = 500


def ask(facts: Facts, on: date, book: Lawbook | None = None) -> law.Standing:
    """What the law and the house policy say of these facts on that day; without a book, the law as it comes."""
    building, unit = facts
    return evaluate(book or load(), building, unit, on)


def on_day(unit_ids: Iterable[int], on: date) -> dict[int, law.Standing]:
    """The standing of each unit on any day, from what is on record now. Stores nothing."""
    answers: dict[int, law.Standing] = {}
    for chunk in _chunks(unit_ids):
        books = books_of(chunk)
        answers.update({pk: ask(facts, on, books.get(pk)) for pk, facts in facts_of(chunk).items()})
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
        books = books_of(chunk)
        asked = {pk: ask(facts, moment.day, books.get(pk)) for pk, facts in facts_of(chunk).items()}
        _store(asked)
        _store_dues(asked)
        _withdraw(asked, actor=actor, moment=moment)
        answers.update(asked)
    return answers


def due_units(day: date) -> list[int]:
    """Ids of the units whose stored standing says nothing of this day any more, or that have none.

    Those that carry a mark come first: after a change of the law it is they that may have to lose it.
    """
    live = Clearance.objects.filter(unit=OuterRef("pk"), withdrawn_at=None)
    due = Unit.objects.filter(stale_on(day)).annotate(marked=Exists(live))
    return list(due.order_by("-marked", "pk").values_list("pk", flat=True))


def stale_on(day: date, path: str = "") -> Q:
    """The condition (on Unit, or on a relation `path__` to it) that no stored answer covers this day.

    An answer of other law packs, or of another house policy, than those held now covers no day: a new one is asked
    about everywhere.
    """
    p = f"{path}standing__"
    said_nothing = Q(**{f"{p}isnull": True}) | Q(**{f"{p}changes_on__lte": day}) | Q(**{f"{p}on__gt": day})
    return said_nothing | ~asked_of_what_is_held(path)


def catch_up(moment: Moment, limit: int = 20_000) -> int:
    """The nightly work: ask again for units whose day has come. Safe to run twice and at once.

    Each chunk is its own transaction, so that a killed worker loses no more than one.
    """
    due = due_units(moment.day)[:limit]
    for start in range(0, len(due), CHUNK):
        refresh(due[start : start + CHUNK], moment=moment)
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


DueKey = tuple[int, bool, str, date | None, str, str]


def _store_dues(asked: dict[int, law.Standing]) -> None:
    """Keep the days to come of these standings, writing only what is different from what is kept."""
    fields = ("unit_id", "is_duty", "code", "due", "party", "of")
    rows = Due.objects.filter(unit__in=list(asked)).values_list("pk", *fields)
    kept: dict[Any, int] = {tuple(key): pk for pk, *key in rows}
    wanted = {key for pk, standing in asked.items() for key in dues(pk, standing)}
    gone = [pk for key, pk in kept.items() if key not in wanted]
    if gone:
        Due.objects.filter(pk__in=gone).delete()
    new = sorted(wanted - kept.keys(), key=lambda key: (key[0], key[2], key[3] or date.max, key[4:]))
    Due.objects.bulk_create([Due(**dict(zip(fields, key, strict=True))) for key in new], batch_size=500)


def dues(unit_id: int, standing: law.Standing) -> set[DueKey]:
    """The days a standing names: last good days of what is asked, those gone by too, and duties that are not done."""
    found: set[DueKey] = {
        (unit_id, False, one.id, one.due, "", one.certificate or "")
        for one in standing.requirements if one.due is not None and one.state is not law.State.NOT_APPLICABLE
    }  # fmt: skip
    for duty in standing.duties:
        if duty.state is not law.DutyState.DONE:
            found.add((unit_id, True, duty.id, duty.due, duty.party or "", duty.of or ""))
    return found


def stored_fields(standing: law.Standing) -> dict[str, Any]:
    """The columns of a stored standing."""
    answer = stored_answer(standing)
    return {
        "on": standing.on,
        "let_clear": standing.let.clear,
        "let_until": standing.let.until,
        "let_first": first_reason(standing.let),
        "sale_clear": standing.sale.clear,
        "sale_until": standing.sale.until,
        "sale_first": first_reason(standing.sale),
        "changes_on": standing.changes_on,
        "answer": answer,
        "packs": dict(standing.packs),
        "law": held(dict(standing.packs).get(POLICY, "")),
        "danger": bool(dangers_without_defect(answer)),
    }


def dangers_without_defect(answer: dict[str, Any]) -> list[dict[str, Any]]:
    """The bars of a stored answer that speak of a danger nobody recorded as a defect: a line of a gas record, say."""
    bars = {(bar["says"], bar["of"]): bar for purpose in ("sale", "let") for bar in answer[purpose]["bars"]}
    return [bar for bar in bars.values() if bar["kind"] == "danger" and not speaks_of_a_defect(bar["cure"])]


def stored_answer(standing: law.Standing) -> dict[str, Any]:
    """The answer as it is stored: what does not apply to a home is left out, being most of the law."""
    said = as_json(standing)
    wanted = (one for one in said["requirements"] if one["state"] != law.State.NOT_APPLICABLE)
    return said | {"requirements": list(wanted)}


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
