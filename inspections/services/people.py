"""Contractors with their registrations, and what our own people may judge: changed and withdrawn, never deleted."""

from collections.abc import Iterable, Sequence
from datetime import date
from typing import Any

from django.core.exceptions import ValidationError
from django.db import transaction

from inspections import words as own
from inspections.models import Competence, Contractor, Registration
from inspections.services.defects import NotAllowed
from portfolio import access, words
from portfolio.clock import Moment
from portfolio.models import User
from portfolio.services.events import Happening, Verb, record
from portfolio.services.write import save


@transaction.atomic
def contractor_save(
    contractor_id: int | None,
    *,
    name: str,
    email: str,
    phone: str = "",
    trades: Sequence[str] = (),
    people: Iterable[User] = (),
    ended: date | None = None,
    actor: Any,
    moment: Moment,
) -> Contractor:
    """Record a contractor, or change the one of that id. Raises ValidationError, NotAllowed."""
    _may_manage(actor)
    contractor = (
        Contractor(agency=actor.agency) if contractor_id is None else _contractor(contractor_id, actor)
    )
    tied = list(people)
    _check(contractor, trades, tied, ended, moment)
    was = {user.pk for user in contractor.people.all()} if contractor.pk else set()
    contractor.name, contractor.email, contractor.phone = name.strip(), email.strip(), phone.strip()
    contractor.trades, contractor.ended = [code for code in own.TRADE if code in trades], ended
    save(contractor, actor=actor, moment=moment)
    contractor.people.set(tied)
    does = ", ".join(own.TRADE[code].lower() for code in contractor.trades)
    said = (
        f"Contractor {'changed' if contractor_id else 'recorded'}: {contractor}, {contractor.email}; {does}"
    )
    if tied or was:
        said += f"; tied to it: {', '.join(str(user) for user in tied) or 'nobody of ours'}"
    if ended is not None:
        said += f"; no longer used since {ended:%-d %b %Y}"
    data = {"trades": contractor.trades, "people": sorted(user.pk for user in tied)}
    _tell(
        Verb.CONTRACTOR_CHANGED, f"contractor:{contractor.pk}", f"{said}.", data, actor=actor, moment=moment
    )
    return contractor


def _check(
    contractor: Contractor, trades: Sequence[str], tied: list[User], ended: date | None, moment: Moment
) -> None:
    if not trades or set(trades) - own.TRADE.keys():
        raise ValidationError({"trades": "Choose what the firm does, one trade at least."})
    if any(user.agency_id != contractor.agency_id for user in tied):
        raise ValidationError({"people": "Choose among the people of your own agency."})
    if ended is not None and ended > moment.day:
        raise ValidationError({"ended": "This day lies in the future. Record it when it has come."})


@transaction.atomic
def registration_save(
    contractor_id: int,
    registration_id: int | None,
    *,
    kind: str,
    number: str = "",
    until: date | None = None,
    checked_on: date | None = None,
    actor: Any,
    moment: Moment,
) -> Registration:
    """Record a registration of a contractor, or change the one of that id. Raises ValidationError, NotAllowed."""
    _may_manage(actor)
    contractor = _contractor(contractor_id, actor)
    held = (
        Registration(contractor=contractor)
        if registration_id is None
        else contractor.registrations.get(pk=registration_id)
    )
    if held.withdrawn is not None:
        raise NotAllowed("This registration is withdrawn. Record the new one beside it.")
    if checked_on is not None and checked_on > moment.day:
        raise ValidationError({"checked_on": "The day it was looked up lies in the future."})
    held.kind, held.number, held.until, held.checked_on = kind, number.strip(), until, checked_on
    save(held, actor=actor, moment=moment)
    good = f"good until {until:%-d %b %Y}" if until else "last good day not recorded"
    looked = f", looked up on {checked_on:%-d %b %Y}" if checked_on else ""
    said = f"{contractor}: {held} {'changed' if registration_id else 'recorded'}, {good}{looked}."
    data = {"registration": held.pk, "until": until and until.isoformat()}
    _tell(Verb.CONTRACTOR_CHANGED, f"contractor:{contractor.pk}", said, data, actor=actor, moment=moment)
    return held


@transaction.atomic
def registration_withdraw(registration_id: int, *, why: str, actor: Any, moment: Moment) -> Registration:
    """It counts no longer, from today; it stays on record. Raises ValidationError, NotAllowed."""
    _may_manage(actor)
    firm = (
        Registration.objects.visible_to(actor).values_list("contractor_id", flat=True).get(pk=registration_id)
    )
    contractor = _contractor(firm, actor)
    held = contractor.registrations.get(pk=registration_id)
    if held.withdrawn is not None:
        return held
    _reason(why)
    held.withdrawn = moment.day
    save(held, actor=actor, moment=moment)
    said = f"{contractor}: {held} withdrawn. {why.strip()}"
    data = {"registration": held.pk, "why": why.strip()}
    _tell(Verb.CONTRACTOR_CHANGED, f"contractor:{contractor.pk}", said, data, actor=actor, moment=moment)
    return held


@transaction.atomic
def competence_record(
    user_id: int, *, scheme: str, by: str, until: date | None = None, actor: Any, moment: Moment
) -> Competence:
    """Record that one of our people may judge work of a scheme, and by what. Raises ValidationError, NotAllowed."""
    user = _person(user_id, actor)
    if user.role != "inspector":
        raise NotAllowed("Only inspectors judge work, so only theirs is recorded.")
    if until is not None and until < moment.day:
        raise ValidationError({"until": "Its last good day is past. Record the one that holds now."})
    held = Competence(user=user, scheme=scheme, by=by.strip(), until=until)
    save(held, actor=actor, moment=moment)
    good = f", good until {until:%-d %b %Y}" if until else ", without an end"
    said = f"{user} may judge work of {words.SCHEME[scheme]}, by {held.by}{good}."
    data = {"user": user.pk, "scheme": scheme}
    _tell(Verb.COMPETENCE_CHANGED, f"competence:{held.pk}", said, data, actor=actor, moment=moment)
    return held


@transaction.atomic
def competence_withdraw(competence_id: int, *, why: str, actor: Any, moment: Moment) -> Competence:
    """It counts no longer, from today; it stays on record. Raises ValidationError, NotAllowed."""
    held = Competence.objects.visible_to(actor).select_related("user").get(pk=competence_id)
    _person(held.user_id, actor)
    if held.withdrawn is not None:
        return held
    _reason(why)
    held.withdrawn = moment.day
    save(held, actor=actor, moment=moment)
    said = f"{held.user}: competence for {words.SCHEME[held.scheme]} withdrawn. {why.strip()}"
    data = {"user": held.user_id, "scheme": held.scheme, "why": why.strip()}
    _tell(Verb.COMPETENCE_CHANGED, f"competence:{held.pk}", said, data, actor=actor, moment=moment)
    return held


def _may_manage(actor: Any) -> None:
    if not access.may(actor, "manage_people"):
        raise NotAllowed("Only a letting agent records contractors and the competence of people.")


def _contractor(contractor_id: int, actor: Any) -> Contractor:
    """Under its lock: whether it may be sent a job does not change while one is being sent."""
    return Contractor.objects.select_for_update(of=("self",)).get(pk=contractor_id, agency=actor.agency_id)


def _person(user_id: int, actor: Any) -> User:
    _may_manage(actor)
    return User.objects.get(pk=user_id, agency=actor.agency_id)


def _reason(why: str) -> None:
    if not why.strip():
        raise ValidationError({"why": "Say why it is withdrawn: the reason is kept."})


def _tell(verb: Verb, subject: str, says: str, data: dict[str, Any], *, actor: Any, moment: Moment) -> None:
    record(
        [Happening(verb, subject, says, None, data)], agency_id=actor.agency_id, actor=actor, moment=moment
    )
