"""What the steps of a defect's life have in common: the lock, the day, the line of record, the law asked again."""

from datetime import date
from typing import Any

from django.core.exceptions import ValidationError

from inspections.models import Contractor, Defect
from portfolio import words
from portfolio.clock import Moment
from portfolio.models import Event, StoredStanding
from portfolio.services.events import Happening, Verb, record
from portfolio.services.write import locked_unit
from portfolio.standing import on_day, refresh


class NotAllowed(Exception):
    """This person may not do this to this defect; the text says why, in words for them."""


def opened(defect_id: int) -> Defect:
    """The defect, not confirmed yet, with its home locked first: the same order as every other writer."""
    locked_unit(Defect.objects.values_list("unit_id", flat=True).get(pk=defect_id))
    defect = Defect.objects.select_related("unit__building", "unit__landlord", "room").get(pk=defect_id)
    if defect.confirmed is not None:
        raise NotAllowed("This defect is confirmed already.")
    return defect


def somebody(defect: Defect, actor: Any, contractor: Contractor | None) -> None:
    """Whatever is said is said by somebody: what nobody said could be confirmed by anybody."""
    if actor is None and contractor is None:
        raise ValidationError("Say who says so.")
    if contractor is not None and contractor.agency_id != defect.unit.agency_id:
        raise ValidationError("This contractor works for another agency.")
    if contractor is not None:
        contractor_locked(contractor)


def contractor_locked(contractor: Contractor) -> None:
    """Its lock, before that of the chain: a record that names it needs it at the end of the transaction, when whoever
    changes the contractor may hold it and wait for the chain."""
    Contractor.objects.select_for_update(of=("self",)).get(pk=contractor.pk)


def day_of_work(defect: Defect, on: date, moment: Moment, done: str) -> None:
    if on > moment.day:
        raise ValidationError({"on": f"The day on which it {done} lies in the future."})
    if defect.found is not None and on < defect.found:
        raise ValidationError({"on": f"It cannot be that it {done} before it was found."})


def named(defect: Defect) -> str:
    return defect.title or words.CODE[defect.code]


def noted(
    defect: Defect,
    verb: Verb,
    says: str,
    *,
    actor: Any,
    moment: Moment,
    contractor: Contractor | None = None,
) -> Event:
    """The line of record of one step."""
    data: dict[str, Any] = {"code": defect.code}
    if contractor is not None:
        data |= {"contractor": contractor.pk, **({"by": str(contractor)} if actor is None else {})}
    happening = Happening(verb, f"defect:{defect.pk}", says, defect.unit_id, data)
    return record([happening], agency_id=defect.unit.agency_id, actor=actor, moment=moment)[0]


def finish(
    defect: Defect,
    verb: Verb,
    says: str,
    *,
    actor: Any,
    moment: Moment,
    contractor: Contractor | None = None,
) -> Event:
    """The line of record of one step, and the law asked again."""
    event = noted(defect, verb, says, actor=actor, moment=moment, contractor=contractor)
    refresh([defect.unit_id], moment=moment, actor=actor)
    return event


def clear_for(unit_id: int, moment: Moment) -> frozenset[str]:
    """For which purposes nothing bars the home today, by what is on record now; the law is asked."""
    standing = on_day([unit_id], moment.day)[unit_id]
    answers = {"let": standing.let, "sale": standing.sale}
    return frozenset(purpose for purpose, answer in answers.items() if answer.clear)


def stored_clear(unit_id: int) -> frozenset[str]:
    """The same by the stored answer, for use when the law has just been asked."""
    stored = StoredStanding.objects.get(unit=unit_id)
    answers = {"let": stored.let_clear, "sale": stored.sale_clear}
    return frozenset(purpose for purpose, clear in answers.items() if clear)
