"""A contractor is asked to come and renew what soon runs out, or has."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any

from django.core.exceptions import ValidationError
from django.db import transaction
from django.db.models import Q

from inspections.models import Contractor
from inspections.selectors.job_parts import address_of
from inspections.services.registrations import warnings, why_not_come
from notifications import outbox
from notifications.models import Message
from notifications.words import FAILED, WITHDRAWN
from portfolio import access, words
from portfolio.clock import LONDON, Moment
from portfolio.law import model as law
from portfolio.law.loader import load
from portfolio.law.rules.gas import keeps_from
from portfolio.models import Unit
from portfolio.selectors.steps import PAPER_FOR, step_to_renew
from portfolio.services.events import Happening, Verb, record
from portfolio.services.write import locked_units
from portfolio.standing import on_day

KIND = "renewal_request"
BECAUSE = "A letting agent chose you for this work."
AGAIN_DAYS = 7
"""A contractor is asked about the same day again after so many days at the earliest."""
NEEDS: dict[str, tuple[tuple[str, ...], str | None]] = {
    "gas_safety_record": (("gas",), "gas"),
    "eicr": (("electrical",), "electrical"),
    "pat": (("electrical", "appliance"), None),
}
"""By the kind of paper: the trades that make it, and the registration without which nobody is asked; else any."""
CHECKS = frozenset({"gb_gas_check", "ni_gas_check"})


@dataclass(frozen=True, slots=True)
class Renewal:
    """What is to be renewed: the requirement, its last good day, and the first day that keeps the day of the year."""

    code: str
    title: str
    paper: str
    due: date
    keeps_from: date | None
    lapsed: bool


@dataclass(frozen=True, slots=True)
class Choice:
    """A contractor, why it may not be asked, what to ask it first, and when it was asked last."""

    contractor: Contractor
    why_not: list[str]
    warnings: list[str]


def renewals_of(unit: Unit, day: date) -> list[Renewal]:
    """What a contractor can be asked to renew, the first to run out on top."""
    standing = on_day([unit.pk], day)[unit.pk]
    found = [
        _renewal(one, one.due, day) for one in standing.requirements
        if one.due is not None and one.state is not law.State.NOT_APPLICABLE and step_to_renew(one.id, unit)
    ]  # fmt: skip
    return sorted(found, key=lambda one: (one.due, one.title))


def _renewal(one: law.Requirement, due: date, day: date) -> Renewal:
    first = keeps_from(load().topics[one.id], due) if one.id in CHECKS and due >= day else None
    return Renewal(one.id, one.title, PAPER_FOR[one.id], due, first, due < day)


def choices(unit: Unit, renewal: Renewal, *, actor: Any, moment: Moment) -> list[Choice]:
    """Every contractor still used, those that may be asked first. Queries do not grow with them."""
    used = Contractor.objects.visible_to(actor).filter(Q(ended=None) | Q(ended__gt=moment.day))
    asked = _asked(unit, renewal)
    found = []
    for firm in used.prefetch_related("registrations").order_by("name", "pk"):
        soon = _too_soon(firm, [one for one in asked if one.data["contractor"] == firm.pk], moment)
        found.append(Choice(firm, why_not(firm, renewal, moment.day) + soon, warnings(firm, moment.day)))
    return sorted(found, key=lambda choice: bool(choice.why_not))


def why_not(contractor: Contractor, renewal: Renewal, day: date) -> list[str]:
    trades, registration = NEEDS.get(renewal.paper, ((), None))
    return why_not_come(contractor, trades, registration, day)


def _asked(unit: Unit, renewal: Renewal) -> list[Message]:
    """What was asked about this day before, of anybody, the latest first."""
    mine = Message.objects.filter(
        unit=unit, key__startswith=f"{KIND}:{unit.pk}:{renewal.code}:{renewal.due}:"
    )
    return list(mine.only("key", "data", "made_at", "state").order_by("-made_at", "-pk"))


def _too_soon(contractor: Contractor, asked: Sequence[Message], moment: Moment) -> list[str]:
    """What was refused or withdrawn never reached anybody, so it may be said again at once."""
    reached = [one for one in asked if one.state not in (FAILED, WITHDRAWN)]
    if not reached:
        return []
    last = reached[0].made_at.astimezone(LONDON).date()
    again = last + timedelta(days=AGAIN_DAYS)
    if moment.day >= again:
        return []
    return [
        f"{contractor} was asked on {last:%-d %B %Y}. Ring first; it can be asked again from {again:%-d %B %Y} on."
    ]


def letter(
    unit: Unit, renewal: Renewal, contractor: Contractor, *, days: str, access_notes: str, actor: Any
) -> outbox.Letter:
    """The mail as it would go. Nothing is kept."""
    told = {
        "unit": unit,
        "address": address_of(unit),
        "renewal": renewal,
        "paper": words.CERTIFICATE[renewal.paper],
        "contractor": contractor,
        "days": days.strip(),
        "access_notes": access_notes.strip(),
        "actor": actor,
        "agency": unit.agency,
        "because": BECAUSE,
    }
    return outbox.letter(KIND, told)


@transaction.atomic
def renewal_ask(
    unit_id: int,
    code: str,
    due: date,
    contractor_id: int,
    *,
    days: str = "",
    access_notes: str = "",
    actor: Any,
    moment: Moment,
) -> Message:
    """Ask a contractor to come and renew it. Raises ValidationError with the reasons why it may not be asked.

    `due` is the last good day it was asked about: if the record says another one now, nothing is sent.
    """
    mine = Unit.objects.visible_to(actor) if access.may(actor, "send_job") else Unit.objects.none()
    locked_units(mine.filter(pk=unit_id).values_list("pk", flat=True))
    unit = mine.select_related("agency", "building").get(pk=unit_id)
    contractor = Contractor.objects.select_for_update(of=("self",)).get(
        pk=contractor_id, agency=unit.agency_id
    )
    renewal = next((one for one in renewals_of(unit, moment.day) if (one.code, one.due) == (code, due)), None)
    if renewal is None:
        raise ValidationError(
            "What was to be renewed changed meanwhile. Open the page of the home and choose again."
        )
    before = [one for one in _asked(unit, renewal) if one.data["contractor"] == contractor.pk]
    faults = [*why_not(contractor, renewal, moment.day), *_too_soon(contractor, before, moment)]
    if faults:
        raise ValidationError(faults)
    made = letter(unit, renewal, contractor, days=days, access_notes=access_notes, actor=actor)
    key = f"{KIND}:{unit.pk}:{code}:{due}:{contractor.pk}"
    draft = outbox.Draft(
        key=f"{key}:{len(before) + 1}" if before else key,
        kind=KIND,
        because=BECAUSE,
        agency_id=unit.agency_id,
        unit_id=unit.pk,
        to_name=contractor.name,
        to_email=contractor.email,
        reply_to=actor.email,
        **made._asdict(),
        data={"code": code, "due": due.isoformat(), "contractor": contractor.pk},
    )
    message = outbox.put(draft, at=moment.at)
    assert message is not None, "the home's lock keeps a second one out"
    says = f"{contractor} was asked to renew: {renewal.title}, last good day {due:%-d %B %Y} (message {message.pk})."
    data = {"code": code, "due": due.isoformat(), "contractor": contractor.name, "message": message.pk}
    happening = Happening(Verb.RENEWAL_ASKED, f"message:{message.pk}", says, unit.pk, data)
    record([happening], agency_id=unit.agency_id, actor=actor, moment=moment)
    return message
