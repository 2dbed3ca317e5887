"""Addresses that a mail server refused for good: marked, told to the agents, and written to about dangers alone.

The mark is on the address and not on a person: who is given another address is written to again without more ado.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from inspections.models import Contractor, Job
from inspections.services.tell import address
from notifications import outbox
from notifications.models import Message, RefusedAddress
from notifications.selectors import subject_of
from portfolio.models import Landlord, User

KIND = "refused"
ALL_THE_SAME = ("danger", "dangers")
"""Tried however often the address was refused: it may be right after all."""
BECAUSE = "You are a letting agent, and this address is one your agency writes to."
Marks = dict[tuple[int, str], RefusedAddress]
"""What is refused at present, by agency and address in lower case."""


@dataclass(frozen=True, slots=True)
class Place:
    """Where an address is recorded, and the page on which it is corrected; "" where no page does that."""

    says: str
    url: str


def marks(messages: Iterable[Message]) -> Marks:
    """The marks on the addresses of these messages. One query."""
    wanted = {(one.agency_id, one.to_email.lower()) for one in messages}
    live = RefusedAddress.objects.filter(ended_at=None, email__in={email for _, email in wanted})
    return {key: one for one in live if (key := (one.agency_id, one.email)) in wanted}


def why_not(message: Message, held: Mapping[tuple[int, str], RefusedAddress]) -> str:
    """Why a message is not sent to its address, in a sentence; "" when it is."""
    refused = held.get(_key(message))
    if refused is None or message.kind in ALL_THE_SAME:
        return ""
    return outbox.refusal(refused)


def mark(message: Message, said: str, *, at: datetime) -> None:
    """Mark the address of a message and tell the agents, once for each address. Belongs in a transaction.

    What tells of a refusal is itself no cause to tell, or two agents' refused addresses would write to each other:
    the next message of any other kind to that address is.
    """
    if message.kind == KIND:
        return
    agency_id, email = _key(message)
    refused, new = RefusedAddress.objects.get_or_create(
        agency_id=agency_id,
        email=email,
        ended_at=None,
        defaults={"since": at, "said": said[:300], "message": message},
    )
    if new:
        _tell(refused, message, at=at)


def lift(message: Message, *, at: datetime) -> None:
    """Mail to the address of this message was taken: it is refused no longer."""
    agency_id, email = _key(message)
    RefusedAddress.objects.filter(agency=agency_id, email=email, ended_at=None).update(ended_at=at)


def _key(message: Message) -> tuple[int, str]:
    return message.agency_id, message.to_email.lower()


def _tell(refused: RefusedAddress, message: Message, *, at: datetime) -> None:
    agents = User.objects.filter(agency=refused.agency_id, role="agent", is_active=True)
    job = _job(message)
    told = {
        "refused": refused,
        "name": message.to_name,
        "subject": subject_of(message),
        "unit": message.unit,
        "job": job,
        "job_url": address("job", job.pk) if job else "",
        "places": _places(refused),
        "message_url": address("message", message.pk),
        "because": BECAUSE,
    }
    for agent in agents.exclude(email__iexact=refused.email).order_by("pk"):
        outbox.put(_draft(refused, message, agent, told), at=at)


def _draft(refused: RefusedAddress, message: Message, agent: User, told: dict[str, Any]) -> outbox.Draft:
    page = told | {"reader": agent}
    return outbox.Draft(
        key=f"{KIND}:{refused.pk}:{agent.pk}",
        kind=KIND,
        because=BECAUSE,
        agency_id=refused.agency_id,
        unit_id=message.unit_id,
        to_user_id=agent.pk,
        to_name=str(agent),
        to_email=agent.email,
        **outbox.letter(KIND, page)._asdict(),
        urgent=message.urgent,
    )


def _job(message: Message) -> Job | None:
    """The job that a message of that kind is about: its key begins with it."""
    kind, _, rest = message.key.partition(":")
    number = rest.partition(":")[0]
    if kind != "job" or not number.isdigit():
        return None
    return Job.objects.filter(pk=number, agency=message.agency_id).first()


def _places(refused: RefusedAddress) -> Sequence[Place]:
    """Everything in the agency that has this address. Three queries."""
    here: dict[str, Any] = {"agency": refused.agency_id, "email__iexact": refused.email}
    firms = Contractor.objects.filter(**here).order_by("name", "pk")
    landlords = Landlord.objects.filter(**here).order_by("name", "pk")
    users = User.objects.filter(**here)
    return [
        *(Place(f"Contractor {one}", address("contractor_change", one.pk)) for one in firms),
        *(Place(f"Landlord {one}", address("landlord_change", one.pk)) for one in landlords),
        *(Place(f"{one}, who signs in with it: another address takes a new log-in", "") for one in users),
    ]
