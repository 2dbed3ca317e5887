"""The gate: a home is marked lettable or saleable only while nothing bars it, under a lock on the home."""

from datetime import date
from typing import Any

from django.db import transaction

from portfolio import words
from portfolio.clock import Moment
from portfolio.exchange import portfolio1
from portfolio.facts import portfolio_of
from portfolio.house_policy import settings_of
from portfolio.law import model as law
from portfolio.law.evaluate import as_json
from portfolio.models import Clearance
from portfolio.services.events import Happening, Verb, record
from portfolio.services.write import locked_unit
from portfolio.standing import answer_for, refresh, withdraw


class Barred(Exception):
    """The mark is refused. `reasons` are the bars, each with its cure and source."""

    def __init__(self, purpose: str, reasons: tuple[law.Reason, ...]) -> None:
        self.purpose = purpose
        self.reasons = reasons
        super().__init__("; ".join(reason.says for reason in reasons))


class NotMarked(Exception):
    """There is no live mark to take back."""


def mark(unit_id: int, purpose: str, *, actor: Any, moment: Moment) -> Clearance:
    """Mark a home lettable ("let") or saleable ("sale") and keep the grounds. Raises Barred.

    A refusal is an event too. Marking what is already marked returns the mark that stands; one whose grounds have
    run out, though the home is clear on newer ones, is ended first.
    """
    with transaction.atomic():
        unit = locked_unit(unit_id)
        standing = refresh([unit_id], moment=moment, actor=actor)[unit_id]
        answer = answer_for(standing, purpose)
        if answer.clear:
            live = unit.clearances.filter(purpose=purpose, withdrawn_at__isnull=True).first()
            if live is not None and live_on(live, moment.day):
                return live
            if live is not None:
                why = f"its grounds ran out after {live.until:%-d %B %Y}."
                withdraw(live, why=why, by=None, actor=actor, moment=moment)
            return _grant(unit, purpose, standing, actor=actor, moment=moment)
        _record(unit, Verb.CLEARANCE_REFUSED, purpose, answer, actor=actor, moment=moment)
    raise Barred(purpose, answer.bars)


def _grant(unit: Any, purpose: str, standing: law.Standing, *, actor: Any, moment: Moment) -> Clearance:
    answer = answer_for(standing, purpose)
    clearance = Clearance.objects.create(
        unit=unit,
        purpose=purpose,
        marked_at=moment.at,
        marked_on=moment.day,
        marked_by=actor,
        until=answer.until,
        facts=portfolio1.dump(portfolio_of([unit.pk])),
        answer=as_json(standing),
        packs=dict(standing.packs),
        policy=settings_of(unit.agency_id),
    )
    _record(unit, Verb.CLEARANCE_MARKED, purpose, answer, actor=actor, moment=moment)
    return clearance


def _record(unit: Any, verb: Verb, purpose: str, answer: law.Answer, *, actor: Any, moment: Moment) -> None:
    word = words.PURPOSE[purpose].lower()
    if verb is Verb.CLEARANCE_MARKED:
        until = f" It holds until {answer.until:%-d %B %Y} unless something changes." if answer.until else ""
        says = f"Marked '{word}'.{until}"
    else:
        says = f"The mark '{word}' was refused: {answer.bars[0].says}"
    happening = Happening(verb, f"unit:{unit.pk}", says, unit.pk, {"purpose": purpose})
    record([happening], agency_id=unit.agency_id, actor=actor, moment=moment)


@transaction.atomic
def unmark(unit_id: int, purpose: str, *, why: str, actor: Any, moment: Moment) -> Clearance:
    """Take a mark back, with a reason. Raises NotMarked."""
    unit = locked_unit(unit_id)
    live = unit.clearances.filter(purpose=purpose, withdrawn_at__isnull=True).first()
    if live is None:
        raise NotMarked("This home does not carry that mark.")
    withdraw(live, why=why.strip() or "No reason given.", by=actor, actor=actor, moment=moment)
    return live


def live_on(clearance: Clearance, day: date) -> bool:
    """Does the mark still hold on this day? False from the day after its grounds run out, whoever has looked."""
    return clearance.withdrawn_at is None and (clearance.until is None or clearance.until >= day)
