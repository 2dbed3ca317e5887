"""What an agent does with a message by hand: have it sent again, hold it back, let it go on.

Each takes the lock of the home it is about, as the line of record names that, looks at the message under its lock, then
takes the agency's chain of events. The sending itself takes no lock: a message that it has claimed meanwhile is refused
here.
"""

from typing import Any

from django.db import transaction

from notifications import outbox
from notifications.models import Message, RefusedAddress
from notifications.selectors import subject_of
from notifications.words import DUE_STATES, FAILED, HELD, STATE, UNCLEAR, WAITING
from portfolio import access
from portfolio.clock import Moment
from portfolio.services.events import Happening, Verb, record
from portfolio.services.write import locked_units


class NotPossible(Exception):
    """It cannot be done; the message says why and what can be done instead."""


@transaction.atomic
def message_send_again(message_id: int, *, actor: Any, moment: Moment) -> Message:
    """Send a refused or unclear message once more, under the Message-ID it has. Raises NotPossible."""
    message = _locked(message_id, actor, (FAILED, UNCLEAR), "sent again")
    _check_links(message)
    # Five more days of tries, and as many lost answers as a new message may have.
    _go_on(message, moment)
    Message.objects.filter(pk=message.pk).update(put_off=0)
    outbox.wake_after_commit()
    refused = RefusedAddress.objects.filter(
        agency=message.agency_id, email=message.to_email.lower(), ended_at=None
    )
    lifted = refused.update(ended_at=moment.at, ended_by=actor)
    what = f"is sent again{', and its address is written to again' if lifted else ''}"
    return _told(message, Verb.MESSAGE_SENT_AGAIN, what, actor, moment)


@transaction.atomic
def message_hold(message_id: int, *, actor: Any, moment: Moment) -> Message:
    """Keep a message back until it is released. Raises NotPossible."""
    message = _locked(message_id, actor, DUE_STATES, "held back")
    Message.objects.filter(pk=message.pk).update(state=HELD, next_try_at=None)
    return _told(message, Verb.MESSAGE_HELD, "is held back", actor, moment)


@transaction.atomic
def message_release(message_id: int, *, actor: Any, moment: Moment) -> Message:
    """Let a held message go on. Raises NotPossible."""
    message = _locked(message_id, actor, (HELD,), "released")
    _check_links(message)
    _go_on(message, moment)
    outbox.wake_after_commit()
    return _told(message, Verb.MESSAGE_RELEASED, "goes on", actor, moment)


@transaction.atomic
def address_try_again(refused_id: int, *, actor: Any, moment: Moment) -> RefusedAddress:
    """Have an address written to again that a mail server refused. Raises NotPossible."""
    if not access.may(actor, "see_messages"):
        raise NotPossible("Only a letting agent decides about addresses.")
    refused = RefusedAddress.objects.select_for_update().get(pk=refused_id, agency=actor.agency_id)
    if refused.ended_at is not None:
        raise NotPossible(f"{refused.email} is written to again already.")
    refused.ended_at, refused.ended_by = moment.at, actor
    refused.save(update_fields=["ended_at", "ended_by"])
    says = f"{refused.email} is written to again. It was refused: {refused.said}"
    happening = Happening(Verb.ADDRESS_TRIED_AGAIN, f"address:{refused.pk}", says)
    record([happening], agency_id=refused.agency_id, actor=actor, moment=moment)
    return refused


def _locked(message_id: int, actor: Any, states: tuple[str, ...], done: str) -> Message:
    mine = Message.objects.filter(agency=actor.agency_id)
    locked_units(mine.filter(pk=message_id, unit__isnull=False).values_list("unit_id", flat=True))
    found = mine.select_for_update().get(pk=message_id)
    if not access.may(actor, "see_messages"):
        raise NotPossible("Only a letting agent decides about messages.")
    if found.state not in states:
        raise NotPossible(f"This message cannot be {done}. Its state is: {STATE[found.state].lower()}.")
    return found


def _check_links(message: Message) -> None:
    if message.blanked_at is not None:
        raise NotPossible(
            "Its link was blanked meanwhile, so it would be of no use. Send a new link from the page it is about."
        )


def _go_on(message: Message, moment: Moment) -> None:
    state = UNCLEAR if message.lost else WAITING
    Message.objects.filter(pk=message.pk).update(state=state, next_try_at=moment.at)


def _told(message: Message, verb: Verb, what: str, actor: Any, moment: Moment) -> Message:
    says = f"The message ‘{subject_of(message)}’ to {message.to_name} {what}."
    happening = Happening(verb, f"message:{message.pk}", says, message.unit_id)
    record([happening], agency_id=message.agency_id, actor=actor, moment=moment)
    message.refresh_from_db()
    return message
