"""A defect's life: recorded, made safe for now, work claimed done, sent back or confirmed by a second person.

Every step takes the home's lock first, writes a line in the chain of events and asks the law again. The steps that
are a judgement of the work stand in `judgements`.
"""

from datetime import date
from typing import Any
from uuid import UUID

from django.core.exceptions import ValidationError
from django.db import transaction

from inspections.models import Contractor, Defect, Visit
from inspections.services import tell
from inspections.services.competence import competent_for, why_not_confirm
from inspections.services.judgements import defect_confirm, defect_recode, defect_send_back, known_work
from inspections.services.registrations import registrations_needed
from inspections.services.steps import NotAllowed, day_of_work, finish, named, opened, somebody
from portfolio import words
from portfolio.clock import Moment
from portfolio.models import Certificate, Room
from portfolio.services.events import Happening, Verb, record
from portfolio.services.homes import next_ref
from portfolio.services.write import locked_unit, save
from portfolio.standing import refresh

__all__ = [
    "NotAllowed",
    "defect_claim_done",
    "defect_confirm",
    "defect_describe",
    "defect_made_safe",
    "defect_recode",
    "defect_record",
    "defect_send_back",
    "nothing_found",
]


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
    key: UUID | None = None,
    visit: Visit | None = None,
    typical: str = "",
    place: str = "",
    note: str = "",
    trade: str | None = None,
    suspected: bool = False,
    said_by: str = "",
    actor: Any,
    moment: Moment,
) -> Defect:
    """Record what someone saw; a danger withdraws the home's marks at once. Raises ValidationError.

    `key` is made by whoever sends it: the same key again gives the defect that is there already.
    """
    unit = locked_unit(unit_id)
    if key is not None and (held := Defect.objects.filter(key=key).first()) is not None:
        if held.unit_id != unit_id:
            raise ValidationError("This defect was sent for another home already.")
        return held
    if found > moment.day:
        raise ValidationError({"found": "The day it was found lies in the future."})
    for owned in (room, certificate, visit):
        if owned is not None and owned.unit_id != unit_id:
            raise ValidationError("The room, paper or visit belongs to another home.")
    if scheme == "igem_g11":
        _by_a_gas_engineer(certificate, said_by, actor, moment)
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
        key=key,
        visit=visit,
        typical=typical,
        place=place,
        note=note,
        trade=trade,
        suspected=suspected,
        said_by=said_by,
        recorded_by=actor,
    )
    save(defect, actor=actor, moment=moment)
    says = f"Defect recorded: {title} ({words.CODE[code]})."
    finish(defect, Verb.DEFECT_RECORDED, says, actor=actor, moment=moment)
    tell.danger(defect, moment=moment)
    return defect


def _by_a_gas_engineer(certificate: Certificate | None, said_by: str, actor: Any, moment: Moment) -> None:
    """Only a registered gas engineer gives ID or AR; others pass on what one wrote. Raises ValidationError."""
    from_paper = certificate is not None and certificate.kind == "gas_safety_record"
    if from_paper or said_by.strip() or "igem_g11" in competent_for(actor, moment.day):
        return
    raise ValidationError(
        {
            "code": "Only a registered gas engineer classes a gas defect. Say who did, with their registration, "
            "or name the gas record; otherwise record a suspected gas defect."
        }
    )


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
def defect_made_safe(
    defect_id: int, *, on: date, how: str, actor: Any, moment: Moment, contractor: Contractor | None = None
) -> Defect:
    """Record that it was made safe for now, and how. It lifts no bar, and whoever records it has a hand in the work.

    Raises ValidationError, NotAllowed.
    """
    defect = opened(defect_id)
    somebody(defect, actor, contractor)
    day_of_work(defect, on, moment, "was made safe")
    if not how.strip():
        raise ValidationError({"how": "Say how it was made safe: isolated, covered, capped, out of use."})
    defect.made_safe, defect.made_safe_how = on, how.strip()
    defect.made_safe_by, defect.made_safe_for = actor, contractor
    save(defect, actor=actor, moment=moment)
    by = f" by {contractor}" if contractor else ""
    says = f"Made safe for now{by} on {on:%-d %B %Y}: {named(defect)}. {how.strip()}"
    finish(defect, Verb.DEFECT_MADE_SAFE, says, actor=actor, moment=moment, contractor=contractor)
    return defect


@transaction.atomic
def defect_claim_done(
    defect_id: int,
    *,
    on: date,
    work: str = "",
    actor: Any,
    moment: Moment,
    contractor: Contractor | None = None,
) -> Defect:
    """Record that the work is said to be done. It does not lift the bar. Raises ValidationError, NotAllowed.

    `contractor`: who says so through a job's link, with no `actor`, or who did it according to the actor.
    """
    defect = opened(defect_id)
    somebody(defect, actor, contractor)
    if defect.completed is not None:
        raise NotAllowed("The work is said to be done already. It waits to be confirmed, or sent back.")
    day_of_work(defect, on, moment, "was put right")
    known_work(work)
    defect.completed, defect.completed_by, defect.completed_for = on, actor, contractor
    defect.work, defect.sent_back_why = work, ""
    save(defect, actor=actor, moment=moment)
    by = f" by {contractor}" if contractor else ""
    says = f"Work said to be done{by} on {on:%-d %B %Y}: {named(defect)}."
    finish(defect, Verb.DEFECT_CLAIMED_DONE, says, actor=actor, moment=moment, contractor=contractor)
    return defect


@transaction.atomic
def defect_describe(
    defect_id: int,
    *,
    title: str,
    room: Room | None,
    place: str,
    note: str,
    trade: str | None,
    actor: Any,
    moment: Moment,
) -> Defect:
    """Say better what and where it is; class and days stay as they are. Raises ValidationError, NotAllowed."""
    defect = opened(defect_id)
    if room is not None and room.unit_id != defect.unit_id:
        raise ValidationError("The room belongs to another home.")
    if defect.trade == "gas" and trade != "gas":
        raise NotAllowed("A gas defect stays with a gas engineer. Class it otherwise first, with a reason.")
    new = {"title": title, "room": room, "place": place, "note": note, "trade": trade}
    changed = [name for name, value in new.items() if getattr(defect, name) != value]
    if not changed:
        return defect
    refused, needed = why_not_confirm(actor, defect, moment), set(registrations_needed(defect))
    for name in changed:
        setattr(defect, name, new[name])
    if refused and needed - set(registrations_needed(defect)):
        raise NotAllowed(
            "This work goes only to who is registered for it. That it is another trade’s is for an inspector to say: "
            "one competent for it, with no hand in the work."
        )
    save(defect, actor=actor, moment=moment)
    says = f"Description changed ({', '.join(changed)}): {named(defect)}."
    finish(defect, Verb.DEFECT_CHANGED, says, actor=actor, moment=moment)
    return defect
