"""Who is told: people with a log-in, and landlords known by an address alone."""

from collections import defaultdict
from dataclasses import dataclass, field

from notifications.models import Telling
from portfolio.models import Landlord, User


@dataclass(frozen=True, slots=True)
class Reader:
    """Somebody to write to. `part` tells them apart in keys and in what was said.

    `landlord_id` is set for a landlord, who is told of that landlord's homes alone. `telling` is how they ask to be
    told: what holds for everybody, unsaved, where they have not said.
    """

    part: str
    name: str
    email: str
    role: str
    user_id: int | None = None
    landlord_id: int | None = None
    telling: Telling = field(default_factory=Telling)


def readers_of(agency_id: int) -> list[Reader]:
    """Everybody of an agency who can log in. Two queries."""
    users = list(User.objects.filter(agency=agency_id, is_active=True).order_by("pk"))
    told = {one.user_id: one for one in Telling.objects.filter(user__agency=agency_id)}
    return [
        Reader(
            part=str(user.pk),
            name=str(user),
            email=user.email,
            role=user.role,
            user_id=user.pk,
            landlord_id=user.landlord_id,
            telling=told.get(user.pk) or Telling(user=user),
        )
        for user in users
    ]


def addresses_of(agency_id: int) -> list[Reader]:
    """Landlords with an address that is none of their log-ins'. Two queries."""
    taken = defaultdict(set)
    users = User.objects.filter(agency=agency_id, role="landlord", is_active=True)
    for landlord, email in users.values_list("landlord", "email"):
        taken[landlord].add(email.casefold())
    landlords = Landlord.objects.filter(agency=agency_id).exclude(email="").order_by("pk")
    return [
        Reader(f"landlord:{one.pk}", one.name, one.email, "landlord", landlord_id=one.pk)
        for one in landlords
        if one.email.casefold() not in taken[one.pk]
    ]
