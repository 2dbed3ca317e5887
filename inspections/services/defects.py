"""A defect's life: recorded, work claimed done, confirmed by a competent second person."""

from datetime import date
from typing import Any

from django.core.exceptions import ValidationError
from django.db import transaction

from inspections.models import Defect
from portfolio import access, words
from portfolio.clock import Moment
from portfolio.models import Certificate, Room
from portfolio.services.events import Happening, Verb, record
from portfolio.services.homes import next_ref
from portfolio.services.write import locked_unit, save
from portfolio.standing import refresh


class NotAllowed(Exception):
    """This person may not do this to this defect; the text says why, in words for them."""


@transaction.atomic
def defect_record(
    unit_id: int,
    *,
    scheme: str,
    code: str,
    title: str,
    found: date,
    room: Room | None = None,
    certificate: Certificate | None = None,
    actor: Any,
    moment: Moment,
) -> Defect:
    """Record what someone saw; a danger withdraws the home's marks at once. Raises ValidationError."""
    unit = locked_unit(unit_id)
    if found > moment.day:
        raise ValidationError({"found": "The day it was found lies in the future."})
    for owned in (room, certificate):
        if owned is not None and owned.unit_id != unit_id:
            raise ValidationError("The room or certificate belongs to another home.")
    if not unit.defects_listed:
        unit.defects_listed = True
        save(unit, actor=actor, moment=moment)
    defect = Defect(
        unit=unit,
        ref=next_ref(unit.defects, "defect"),
        scheme=scheme,
        code=code,
        title=title,
        found=found,
        room=room,
        certificate=certificate,
        recorded_by=actor,
    )
    save(defect, actor=actor, moment=moment)
    says = f"Defect recorded: {title} ({words.CODE[code]})."
    _finish(defect, Verb.DEFECT_RECORDED, says, actor=actor, moment=moment)
    return defect


@transaction.atomic
def nothing_found(unit_id: int, *, actor: Any, moment: Moment) -> None:
    """Record that the home was looked over and has no open defect on record, so silence is not mistaken for a look."""
    unit = locked_unit(unit_id)
    if unit.defects_listed:
        return
    unit.defects_listed = True
    save(unit, actor=actor, moment=moment)
    happening = Happening(Verb.UNIT_CHANGED, f"unit:{unit_id}", "Looked over: no defects to record.", unit_id)
    record([happening], agency_id=unit.agency_id, actor=actor, moment=moment)
    refresh([unit_id], moment=moment, actor=actor)


@transaction.atomic
def defect_claim_done(defect_id: int, *, on: date, actor: Any, moment: Moment) -> Defect:
    """Record that the work is said to be done. It does not lift the bar. Raises ValidationError, NotAllowed."""
    defect = _locked(defect_id)
    if defect.confirmed is not None:
        raise NotAllowed("This defect is confirmed already.")
    if on > moment.day:
        raise ValidationError({"on": "The day the work was done lies in the future."})
    if defect.found is not None and on < defect.found:
        raise ValidationError({"on": "The work cannot have been done before the defect was found."})
    defect.completed, defect.completed_by = on, actor
    save(defect, actor=actor, moment=moment)
    says = f"Work said to be done on {on:%-d %B %Y}: {defect.title or defect.code}."
    _finish(defect, Verb.DEFECT_CLAIMED_DONE, says, actor=actor, moment=moment)
    return defect


@transaction.atomic
def defect_confirm(defect_id: int, *, actor: Any, moment: Moment) -> Defect:
    """A second, competent person confirms the work today. Raises NotAllowed with the reason."""
    defect = _locked(defect_id)
    if not access.may(actor, "confirm"):
        raise NotAllowed("Only an inspector can confirm that a defect is put right.")
    if defect.confirmed is not None:
        raise NotAllowed("This defect is confirmed already.")
    if defect.completed is None:
        raise NotAllowed("Nobody has recorded yet that the work is done.")
    if defect.completed_by_id == actor.pk:
        raise NotAllowed("You recorded that the work is done, so somebody else has to confirm it.")
    defect.confirmed, defect.confirmed_by = moment.day, actor
    save(defect, actor=actor, moment=moment)
    says = f"Confirmed put right: {defect.title or defect.code}."
    _finish(defect, Verb.DEFECT_CONFIRMED, says, actor=actor, moment=moment)
    return defect


def _locked(defect_id: int) -> Defect:
    """The defect, with its home locked first: the same order as every other writer."""
    locked_unit(Defect.objects.values_list("unit_id", flat=True).get(pk=defect_id))
    return Defect.objects.select_related("unit").get(pk=defect_id)


def _finish(defect: Defect, verb: Verb, says: str, *, actor: Any, moment: Moment) -> None:
    happening = Happening(verb, f"defect:{defect.pk}", says, defect.unit_id, {"code": defect.code})
    record([happening], agency_id=defect.unit.agency_id, actor=actor, moment=moment)
    refresh([defect.unit_id], moment=moment, actor=actor)
