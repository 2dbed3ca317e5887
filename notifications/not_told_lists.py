"""Everybody who could be told, as lists in the database: narrowed by words, by a home and by what keeps them from it.

Three kinds, always in this order: people with a log-in, landlords, and addresses of others that a mail server refuses.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from django.db.models import Count, Q, QuerySet
from django.db.models.functions import Lower

from notifications.models import Message, RefusedAddress, Telling
from notifications.words import FAILED, HELD, WITHDRAWN
from portfolio.models import Landlord, Unit, User

NOT_SENT = (HELD, FAILED, WITHDRAWN)
LOOK_BACK = timedelta(days=30)
WHY = {
    "nothing": "Nothing reaches them",
    "dangers": "Told of dangers only",
    "chosen": "Chose to be told less",
    "mail": "Mail held back, refused or withdrawn",
}
"""What may keep somebody from being told for longer than a day."""


class Chain:
    """Lists one after the other, counted and cut as one."""

    def __init__(self, *parts: "QuerySet[Any]") -> None:
        self.parts = parts
        self.sizes: list[int] | None = None

    def count(self) -> int:
        if self.sizes is None:
            self.sizes = [part.count() for part in self.parts]
        return sum(self.sizes)

    def __getitem__(self, cut: slice) -> list[Any]:
        self.count()
        found: list[Any] = []
        first, end = cut.start or 0, cut.stop
        for part, size in zip(self.parts, self.sizes or (), strict=True):
            if first < size and end > 0:
                found += part[max(first, 0) : min(end, size)]
            first, end = first - size, end - size
        return found


@dataclass(frozen=True)
class Lists:
    """The three kinds, each with the condition of every reason of WHY."""

    people: "QuerySet[User]"
    landlords: "QuerySet[Landlord]"
    others: "QuerySet[RefusedAddress]"
    whys: Mapping[str, tuple[Q, Q, Q]]

    def chain(self, why: str = "") -> Chain:
        parts = (self.people, self.landlords, self.others)
        if not why:
            return Chain(*parts)
        return Chain(*(part.filter(q) for part, q in zip(parts, self.whys[why], strict=True)))

    def counts(self) -> dict[str, int]:
        """How many each reason keeps. Three queries."""
        found = dict.fromkeys(WHY, 0)
        for place, part in enumerate((self.people, self.landlords, self.others)):
            asked = {why: Count("pk", filter=q[place]) for why, q in self.whys.items()}
            for why, number in part.order_by().aggregate(**asked).items():
                found[why] += number
        return found


def lists_of(agency_id: int, *, q: str, home: Unit | None, at: datetime) -> Lists:
    """Those of an agency in whose name or address each word stands; with a home, those it concerns."""
    people = User.objects.filter(agency=agency_id).select_related("telling", "landlord")
    landlords = Landlord.objects.filter(agency=agency_id)
    refused = RefusedAddress.objects.filter(agency=agency_id, ended_at=None)
    known = [
        held.filter(agency=agency_id).annotate(low=Lower("email")).values("low")
        for held in (User.objects, Landlord.objects.exclude(email=""))
    ]
    others = refused.exclude(email__in=known[0]).exclude(email__in=known[1]).select_related("message")
    if home is not None:
        people = people.filter(
            Q(role__in=("agent", "inspector")) | Q(landlord=home.landlord_id or 0), is_active=True
        )
        landlords, others = landlords.filter(pk=home.landlord_id or 0), others.none()
    for word in q.split():
        people = people.filter(
            Q(name__icontains=word) | Q(email__icontains=word) | Q(landlord__name__icontains=word)
        )
        landlords = landlords.filter(
            Q(name__icontains=word) | Q(email__icontains=word) | Q(ref__icontains=word)
        )
        others = others.filter(Q(email__icontains=word) | Q(message__to_name__icontains=word))
    return Lists(
        people.order_by("name", "email"),
        landlords.order_by("name", "pk"),
        others.order_by("email"),
        _whys(agency_id, at),
    )


def not_sent(agency_id: int, at: datetime) -> "QuerySet[Message]":
    """What was written in the last 30 days and is not on its way."""
    return Message.objects.filter(agency=agency_id, made_at__gte=at - LOOK_BACK, state__in=NOT_SENT)


def _whys(agency_id: int, at: datetime) -> dict[str, tuple[Q, Q, Q]]:
    """For each reason the condition on people, on landlords, and on the addresses of others."""
    nobody, everybody = Q(pk__in=[]), Q()
    refused = RefusedAddress.objects.filter(agency=agency_id, ended_at=None).values("email")
    ours = User.objects.filter(agency=agency_id)
    without = ~Q(pk__in=ours.filter(is_active=True, landlord__isnull=False).values("landlord"))
    less = Telling.objects.filter(Q(digest=False) | ~Q(off=[]), user__agency=agency_id)
    mail = not_sent(agency_id, at)
    refused_people, refused_landlords = (
        Q(pk__in=held.annotate(low=Lower("email")).filter(low__in=refused).values("pk"))
        for held in (ours, Landlord.objects.filter(agency=agency_id))
    )
    return {
        "nothing": (Q(is_active=False), without & Q(email=""), everybody),
        "dangers": (
            Q(is_active=True) & refused_people,
            (without & ~Q(email="")) | refused_landlords,
            nobody,
        ),
        "chosen": (Q(is_active=True, pk__in=less.values("user")), nobody, nobody),
        "mail": (
            Q(pk__in=mail.filter(to_user__isnull=False).values("to_user")),
            Q(email__in=mail.filter(to_user=None).values("to_email")),
            nobody,
        ),
    }
