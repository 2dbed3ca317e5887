"""Messages as pages show them: whose they are, narrowed, in plain words and without the links that let people act."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.db.models import Q, QuerySet
from django.http import Http404
from django.utils.timesince import timeuntil

from notifications.blank import blanked
from notifications.models import Message
from notifications.words import (
    DUE_STATES,
    FAILED,
    HELD,
    KIND,
    SENT,
    STATE,
    UNCLEAR,
    WAITING,
    WITHDRAWN,
)
from portfolio import access
from portfolio.clock import Moment
from portfolio.models import Event

SHAPE = {
    SENT: "met",
    FAILED: "not_met",
    UNCLEAR: "unknown",
    WITHDRAWN: "not_applicable",
    HELD: "not_applicable",
}
TONE = {SENT: "done", FAILED: "late"}
TROUBLE = (FAILED, UNCLEAR)
"""States that ask for somebody to look."""


@dataclass(frozen=True)
class Row:
    """One message, with its state in a sentence."""

    message: Message
    subject: str
    kind: str
    says: str

    @property
    def shape(self) -> str:
        return "warn" if to_follow(self.message) else SHAPE.get(self.message.state, "warn")

    @property
    def tone(self) -> str:
        return "open" if to_follow(self.message) else TONE.get(self.message.state, "open")


def visible_to(user: Any) -> "QuerySet[Message]":
    """Messages are the agency's own; who may see them sees all of them."""
    if not access.may(user, "see_messages") or not user.is_active:
        return Message.objects.none()
    return Message.objects.filter(agency=user.agency_id)


def get_or_404(user: Any, pk: int) -> Message:
    """One message that the user may see, or 404."""
    try:
        return visible_to(user).select_related("unit__building", "to_user").get(pk=pk)
    except Message.DoesNotExist as absent:
        raise Http404 from absent


def listed(messages: "QuerySet[Message]", asked: Mapping[str, str]) -> "QuerySet[Message]":
    """The newest first; `asked`: "state" (a code, or "trouble"), "kind", and words of subject, reader or reason."""
    state = asked.get("state", "")
    if state:
        messages = messages.filter(state__in=TROUBLE if state == "trouble" else [state])
    if asked.get("kind"):
        messages = messages.filter(kind=asked["kind"])
    for word in asked.get("q", "").split():
        messages = messages.filter(
            Q(subject__icontains=word)
            | Q(to_name__icontains=word)
            | Q(to_email__icontains=word)
            | Q(because__icontains=word)
        )
    return messages.order_by("-made_at", "-pk")


def kinds(messages: "QuerySet[Message]") -> list[tuple[str, str]]:
    """The kinds that there are, for a choice."""
    found = messages.order_by("kind").values_list("kind", flat=True).distinct()
    return sorted(((kind, kind_words(kind)) for kind in found), key=lambda one: one[1])


def kind_words(kind: str) -> str:
    return KIND.get(kind, kind.replace("_", " ").capitalize())


def row(message: Message, moment: Moment) -> Row:
    return Row(message, subject_of(message), kind_words(message.kind), says(message, moment))


def says(message: Message, moment: Moment) -> str:
    """The state of a message, in a sentence without its full stop."""
    said = f": {message.server_said}" if message.server_said else ""
    if message.state == FAILED:
        given_up = message.server_said[:1] != "5"
        return f"{'Given up' if given_up else 'Refused by the mail server'}{said}"
    if message.state == UNCLEAR and message.next_try_at is None:
        return "Unclear whether it arrived; it is not sent again by itself"
    if message.state in DUE_STATES and message.next_try_at is not None:
        return _waits(message, message.next_try_at, moment) + (said if message.put_off else "")
    if message.state == WITHDRAWN:
        return f"Withdrawn: {message.withdrawn_why}"
    if to_follow(message):
        return "Sent; what follows is not recorded yet"
    return STATE[message.state]


def to_follow(message: Message) -> bool:
    """It is sent, and what is to be recorded then is not."""
    return message.state == SENT and message.follows and message.followed_at is None


def _waits(message: Message, until: datetime, moment: Moment) -> str:
    when = f"in {timeuntil(until, moment.at, depth=1)}" if until > moment.at else "now"
    if message.state == UNCLEAR:
        return f"Unclear whether it arrived; sent again {when}"
    return f"{'Put off; tried again' if message.put_off else 'Waiting; sent'} {when}"


def text_of(message: Message) -> str:
    """What was said. A link by which somebody else acts is never shown, not even before it is sent."""
    return blanked(message.text, message.secrets.split())


def subject_of(message: Message) -> str:
    return blanked(message.subject, message.secrets.split())


def may_do(message: Message) -> dict[str, bool]:
    """What somebody can do with it now."""
    return {
        "send_again": message.state in (FAILED, UNCLEAR) and message.blanked_at is None,
        "hold": message.state in (WAITING, UNCLEAR),
        "release": message.state == HELD and message.blanked_at is None,
    }


def events_of(message: Message) -> "QuerySet[Event]":
    """The lines of record about a message, the oldest first."""
    about = Event.objects.filter(agency=message.agency_id, subject=f"message:{message.pk}")
    return about.select_related("actor").order_by("seq")
