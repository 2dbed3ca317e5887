"""Who is told what about a defect: a danger at once, a home that is clear again, proof that was sent back.

Messages are left with `notifications.outbox` in the transaction of their cause; sending them is not done here.
"""

from collections.abc import Collection, Iterable
from dataclasses import dataclass
from typing import Any

from django.conf import settings
from django.urls import reverse

from inspections.cautions import cautions
from inspections.models import Contractor, Defect
from inspections.urgency import urgency
from notifications import outbox
from portfolio import words
from portfolio.clock import Moment
from portfolio.models import Event, Unit, User
from portfolio.selectors.naming import room_called


@dataclass(frozen=True)
class Reader:
    """Somebody to write to. `part` tells them apart in the key of a message."""

    part: str
    name: str
    email: str
    user_id: int | None = None

    @classmethod
    def of(cls, user: User) -> "Reader":
        return cls(str(user.pk), str(user), user.email, user.pk)


def is_danger(defect: Defect) -> bool:
    """Is it of the band that asks for something to be done now?"""
    said = urgency(
        defect.scheme, defect.code, found=defect.found, trade=defect.trade, suspected=defect.suspected
    )
    return said.band == 0


def what_now(defect: Defect) -> tuple[str, ...]:
    """What to do now about a defect, the most pressing first; empty when nothing is."""
    return cautions(
        scheme=defect.scheme,
        code=defect.code,
        trade=defect.trade,
        suspected=defect.suspected,
        nation=defect.unit.building.nation,
        typical=defect.typical,
    )


def danger(defect: Defect, *, moment: Moment) -> None:
    """Tell every agent and the landlord what to do now, if the defect is a danger."""
    if not is_danger(defect):
        return
    unit = defect.unit
    for reader in (*_agents(unit), *_landlord(unit)):
        _put(
            "danger",
            reader,
            key=f"danger:{defect.pk}:{reader.part}",
            because="A danger was recorded in a home you look after.",
            unit=unit,
            urgent=True,
            at=moment,
            defect=defect,
            room=room_called(defect.room) if defect.room else "",
            now=what_now(defect),
            url=address("defect", defect.pk),
        )


def home_clear(unit: Unit, purposes: Collection[str], event: Event, *, moment: Moment) -> None:
    """Tell every agent that nothing bars the home any more for these purposes; it is not marked by this."""
    if not purposes:
        return
    doors = [words.PURPOSE[purpose].lower() for purpose in words.PURPOSE if purpose in purposes]
    for reader in _agents(unit):
        _put(
            "home_clear",
            reader,
            key=f"home_clear:{unit.agency_id}:{event.seq}:{reader.part}",
            because="The last bar of a home you look after was lifted.",
            unit=unit,
            at=moment,
            doors=" and ".join(doors),
            event=event,
            url=address("home", unit.pk),
        )


def sent_back(
    defect: Defect, claimer: User | None, firm: Contractor | None, event: Event, *, moment: Moment
) -> None:
    """Tell whoever said that the work was done, and the contractor, what is missing."""
    readers = [] if claimer is None or not claimer.is_active else [Reader.of(claimer)]
    if firm is not None:
        readers.append(Reader(f"contractor:{firm.pk}", firm.name, firm.email))
    for reader in readers:
        _put(
            "sent_back",
            reader,
            key=f"sent_back:{defect.pk}:{event.seq}:{reader.part}",
            because="You said that this work was done, or did it.",
            unit=defect.unit,
            at=moment,
            defect=defect,
            url=address("defect", defect.pk) if reader.user_id else "",
        )


def address(name: str, *args: Any) -> str:
    """The whole address of a page, for use outside the site."""
    return f"{settings.SNECK_SITE}{reverse(name, args=args)}"


def _agents(unit: Unit) -> Iterable[Reader]:
    agents = User.objects.filter(agency=unit.agency_id, role="agent", is_active=True)
    return [Reader.of(user) for user in agents.order_by("pk")]


def _landlord(unit: Unit) -> Iterable[Reader]:
    """The log-ins of the home's landlord, and its own address where none of them has it."""
    if unit.landlord is None:
        return []
    readers = [Reader.of(user) for user in unit.landlord.users.filter(is_active=True).order_by("pk")]
    own = unit.landlord.email
    if own and own.casefold() not in {reader.email.casefold() for reader in readers}:
        readers.append(Reader(f"landlord:{unit.landlord.pk}", unit.landlord.name, own))
    return readers


def _put(
    kind: str,
    reader: Reader,
    *,
    key: str,
    because: str,
    unit: Unit,
    at: Moment,
    urgent: bool = False,
    **told: Any,
) -> None:
    page = {"reader": reader, "unit": unit, "because": because, **told}
    outbox.put(
        outbox.Draft(
            key=key,
            kind=kind,
            because=because,
            agency_id=unit.agency_id,
            unit_id=unit.pk,
            to_user_id=reader.user_id,
            to_name=reader.name,
            to_email=reader.email,
            **outbox.letter(kind, page)._asdict(),
            urgent=urgent,
        ),
        at=at.at,
    )
