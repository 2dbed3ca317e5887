"""What a visit has said so far, room by room, for its page and for the phones that add to it."""

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import Any

from django.db.models import Count

from inspections.models import Defect, Evidence, Look, Visit
from inspections.selectors.evidence import Shown, evidence_of
from inspections.selectors.urgent import urgencies
from inspections.services.visits import NOT_LOOKED_AT
from portfolio.clock import LONDON
from portfolio.models import Room, Unit
from portfolio.selectors.naming import rooms_called

SAID = {
    "found": "Something found",
    "nothing": "Nothing found",
    "not_seen": "Could not be seen",
    "not_looked": "Not looked at",
    "silent": "Nothing said yet",
}
SHAPE = {
    "found": "not_met",
    "nothing": "met",
    "not_seen": "unknown",
    "not_looked": "unknown",
    "silent": "unknown",
}
"""The state of a requirement whose shape and colour it takes."""
ELSEWHERE = "Elsewhere in the home"
"""Where a defect is that stands in no room."""


@dataclass(frozen=True)
class FoundHere:
    """A defect of the visit with what shows it."""

    defect: Defect
    shown: Shown


@dataclass
class RoomSaid:
    """One room, or with no room whatever lies elsewhere, and what the visit says of it."""

    room: Room | None
    name: str
    found: list[FoundHere] = field(default_factory=list)
    looks: list[Look] = field(default_factory=list)

    @property
    def ref(self) -> str:
        return self.room.ref if self.room else ""

    @property
    def state(self) -> str:
        """A code of SAID: what was found counts before what was last said of the look."""
        if self.found:
            return "found"
        if not self.looks:
            return "silent"
        last = self.looks[-1]
        return "not_looked" if last.says == NOT_LOOKED_AT else str(last.what)

    @property
    def said(self) -> str:
        return SAID[self.state]

    @property
    def shape(self) -> str:
        return SHAPE[self.state]

    @property
    def limits(self) -> list[str]:
        """What could not be seen, and why; once everything was seen after all, nothing."""
        if not self.looks or self.looks[-1].what == "nothing":
            return []
        return [look.says for look in self.looks if look.what == "not_seen" and look.says != NOT_LOOKED_AT]


@dataclass(frozen=True)
class VisitSaid:
    visit: Visit
    rooms: list[RoomSaid]
    elsewhere: RoomSaid

    @property
    def places(self) -> list[RoomSaid]:
        return [*self.rooms, self.elsewhere]

    @property
    def found(self) -> list[FoundHere]:
        return [one for place in self.places for one in place.found]

    @property
    def silent(self) -> list[RoomSaid]:
        return self._of("silent")

    @property
    def clean(self) -> list[RoomSaid]:
        return self._of("nothing")

    @property
    def not_looked(self) -> list[RoomSaid]:
        return self._of("not_looked")

    @property
    def limited(self) -> list[RoomSaid]:
        return [place for place in self.places if place.limits]

    def _of(self, state: str) -> list[RoomSaid]:
        return [room for room in self.rooms if room.state == state]


def visit_said(visit: Visit) -> VisitSaid:
    """All rooms there are while it lasts; after its end those that it says anything of."""
    defects = list(Defect.objects.filter(visit=visit).select_related("room", "recorded_by").order_by("pk"))
    shown = evidence_of(defect.pk for defect in defects)
    looks = list(Look.objects.filter(visit=visit).select_related("room", "by").order_by("at", "pk"))
    named = {one.room for one in defects if one.room} | {look.room for look in looks if look.room}
    if visit.ended_at is None:
        named |= set(Room.objects.filter(unit=visit.unit_id, removed=None))
    called = rooms_called([visit.unit_id])
    rooms = {
        room.pk: RoomSaid(room, called[room.pk].full)
        for room in sorted(named, key=lambda room: (room.level is None, room.level or 0, room.pk))
    }
    elsewhere = RoomSaid(None, ELSEWHERE)
    for defect in defects:
        place = rooms[defect.room_id] if defect.room_id else elsewhere
        place.found.append(FoundHere(defect, shown[defect.pk]))
    for look in looks:
        (rooms[look.room_id] if look.room_id else elsewhere).looks.append(look)
    return VisitSaid(visit, list(rooms.values()), elsewhere)


def known_before(visit: Visit) -> list[tuple[Defect, str]]:
    """The open defects on record without this visit, the most pressing first, with the name of the room or ""."""
    held = Defect.objects.filter(unit=visit.unit_id, confirmed=None).exclude(visit=visit)
    called = rooms_called([visit.unit_id])
    soon = urgencies(held)
    first = sorted(held, key=lambda one: (soon[one.pk].band, one.pk))
    return [(one, called[one.room_id].full if one.room_id else "") for one in first]


def state_of(said: VisitSaid) -> dict[str, Any]:
    """What the server has of a visit, for a phone to compare with what it has not sent yet."""
    visit = said.visit
    return {
        "visit": str(visit.key),
        "ended": "" if visit.ended_at is None else f"{visit.ended_by}, {words_of(visit.ended_at)}",
        "places": [
            {
                "ref": place.ref,
                "name": place.name,
                "state": place.state,
                "limits": place.limits,
                "found": [_found(one) for one in place.found],
            }
            for place in said.places
        ],
        "held": sorted(_held(visit)),
    }


def _found(one: FoundHere) -> dict[str, Any]:
    defect = one.defect
    return {
        "key": str(defect.key),
        "title": defect.title or "(no title)",
        "code": defect.get_code_display(),
        "photos": len(one.shown.before),
    }


def _held(visit: Visit) -> Iterable[str]:
    """The keys of all that came, so that a photo need not be sent again only because its answer was lost."""
    found = Defect.objects.filter(visit=visit)
    looks = Look.objects.filter(visit=visit)
    photos = Evidence.objects.filter(defect__visit=visit)
    rows = (found.values_list("key"), looks.values_list("key"), photos.values_list("key"))
    return {str(key) for keys in rows for (key,) in keys}


def words_of(at: Any) -> str:
    """An instant in words, in London's time."""
    return f"{at.astimezone(LONDON):%-d %B %Y, %H:%M}"


@dataclass(frozen=True)
class VisitRow:
    visit: Visit
    found: int


def visits_of(unit: Unit) -> list[VisitRow]:
    """The visits of a home, the latest first, with how many defects each found."""
    rows = Visit.objects.filter(unit=unit).select_related("begun_by", "ended_by")
    counts: dict[int, int] = defaultdict(int)
    found = Defect.objects.filter(visit__unit=unit).values_list("visit").annotate(Count("pk"))
    counts.update(dict(found))
    return [VisitRow(visit, counts[visit.pk]) for visit in rows.order_by("-begun_at", "-pk")]
