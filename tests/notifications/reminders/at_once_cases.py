"""What tests of messages that cannot wait start from: homes of three owners, and defects that nobody was told of."""

from dataclasses import dataclass, replace
from datetime import UTC, date, datetime
from itertools import count
from typing import Any

from inspections.models import Defect
from notifications.models import Message
from notifications.reminders import at_once
from portfolio.clock import Moment, moment_of
from portfolio.law import model as law
from portfolio.models import Agency, Landlord, Unit, User
from tests.factories import CLEAR_FLAT, DAY, at, make_agency, make_homes, make_landlord, make_user

_number = count(1)


@dataclass
class World:
    """A landlord with a log-in, one with an address alone, and a home of each and one of nobody."""

    agency: Agency
    agent: User
    inspector: User
    landlord: User
    by_post: Landlord
    homes: list[Unit]

    @property
    def readers(self) -> list[str]:
        return [str(self.agent.pk), str(self.landlord.pk), f"landlord:{self.by_post.pk}"]


def make_world() -> World:
    agency = make_agency()
    agent, landlord = make_user(agency), make_user(agency, "landlord")
    by_post = make_landlord(agency)
    by_post.email = "by.post@example.org"
    by_post.save()
    refs = [landlord.landlord.ref, by_post.ref, None]
    homes = make_homes(
        agency, *({"label": f"Flat {n}", "landlord_ref": ref} for n, ref in enumerate(refs, 1))
    )
    return World(agency, agent, make_user(agency, "inspector"), landlord, by_post, homes)


def danger_in(home: Unit, code: str = "C1", scheme: str = "bs7671", **more: Any) -> Defect:
    """A danger that came without anybody being told, as by an import."""
    ref = f"danger-{next(_number)}"
    fields = {"title": "Bare wire", "found": DAY, **more}
    return Defect.objects.create(unit=home, ref=ref, scheme=scheme, code=code, **fields)


def london(day: date = DAY, hour: int = 9, minute: int = 0) -> Moment:
    """An hour of a winter's day, when London keeps the time of UTC."""
    return moment_of(datetime(day.year, day.month, day.day, hour, minute, tzinfo=UTC))


def said(world: World, moment: Moment | None = None) -> dict[str, Message]:
    """What one run says, by the part of each reader; fails when it says how many wrongly."""
    before = set(Message.objects.values_list("pk", flat=True))
    written = at_once.say(world.agency.pk, moment or london())
    new = Message.objects.exclude(pk__in=before).order_by("pk")
    assert written == len(new)
    assert all(one.urgent for one in new)
    return {one.key.split(":", 1)[1].rpartition("@")[0]: one for one in new}


def gas_record(result: str) -> tuple[law.Certificate, ...]:
    """The papers of the clear flat, its last gas record with this result."""
    lines = (law.ApplianceCheck("boiler", result),)
    return tuple(
        replace(one, appliances=lines) if one.ref == "g1" else one for one in CLEAR_FLAT.certificates or ()
    )


__all__ = ["DAY", "World", "at", "danger_in", "gas_record", "london", "make_world", "said"]
