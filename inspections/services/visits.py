"""A visit: begun, rooms looked at, defects found with their photos, ended.

Everything is known by the key its phone made, so that whatever is sent again is there once. What a phone had queued
when another one ended the visit is still taken; a look only if it was taken before the end.
"""

from collections.abc import Sequence
from datetime import datetime
from typing import Any
from uuid import UUID, uuid5

from django.core.exceptions import ValidationError
from django.db import transaction

from inspections import words as own
from inspections.models import Defect, Evidence, Look, Visit
from inspections.services.defects import NotAllowed, defect_record, nothing_found
from inspections.services.evidence import evidence_add, evidence_add_all
from portfolio.clock import Moment, moment_of
from portfolio.documents import Accepted
from portfolio.models import Room, Unit
from portfolio.selectors.naming import room_called, rooms_called
from portfolio.services.events import Happening, Verb, record
from portfolio.services.write import locked_unit, save
from portfolio.standing import refresh

NOT_LOOKED_AT = "Not looked at."
"""What the end of a visit says of a room on which nothing was said."""
SENT_BEFORE = "This was sent before with other content. Load the page again to add more."


@transaction.atomic
def visit_begin(unit_id: int, *, key: UUID, actor: Any, moment: Moment) -> Visit:
    """Begin a visit of a home; the same key again gives the visit begun before. Raises ValidationError."""
    unit = locked_unit(unit_id)
    held = Visit.objects.filter(key=key).first()
    if held is not None:
        if held.unit_id != unit_id:
            raise ValidationError("This visit was begun for another home. Load the page again.")
        return held
    visit = Visit(unit=unit, key=key, on=moment.day, begun_at=moment.at, begun_by=actor)
    save(visit, actor=actor, moment=moment)
    _tell(visit, Verb.VISIT_BEGUN, "Visit begun.", actor=actor, moment=moment)
    return visit


@transaction.atomic
def look_record(
    visit_id: int,
    *,
    key: UUID,
    room: Room | None,
    what: str,
    says: str = "",
    at: datetime | None = None,
    actor: Any,
    moment: Moment,
) -> Look:
    """Record that nothing was found in a room, or what could not be seen there and why.

    `at`: when it was looked at, by the clock of the phone. Raises ValidationError, and NotAllowed after the end.
    """
    visit, says = _locked(visit_id), says.strip()
    held = Look.objects.filter(key=key).first()
    if held is not None:
        if (held.visit_id, held.room, held.what, held.says) != (visit.pk, room, what, says):
            raise ValidationError(SENT_BEFORE)
        return held
    if room is not None and room.unit_id != visit.unit_id:
        raise ValidationError({"room": "The room belongs to another home."})
    if room is None and what == "nothing":
        raise ValidationError({"room": "Say in which room nothing was found."})
    when = _when(visit, at, moment)
    if visit.ended_at is not None and when > visit.ended_at:
        raise NotAllowed("This visit has ended. Begin another one to look again.")
    look = Look(visit=visit, key=key, room=room, what=what, says=says, at=when, by=actor)
    save(look, actor=actor, moment=moment)
    said = f": {says}" if says else "."
    where = "Elsewhere" if room is None else room_called(room)
    _tell(visit, Verb.ROOM_LOOKED_AT, f"{where}: {own.LOOK[what].lower()}{said}", actor=actor, moment=moment)
    return look


@transaction.atomic
def room_add(
    visit_id: int, *, key: UUID, use: str, level: int | None = None, actor: Any, moment: Moment
) -> Room:
    """A room that was not on record. It does not say that the list of rooms is complete. Raises ValidationError."""
    visit = _locked(visit_id)
    ref = room_ref(key)
    held = Room.objects.filter(unit=visit.unit, ref=ref).first()
    if held is not None:
        return held
    room = Room(unit=visit.unit, ref=ref, use=use, level=level)
    save(room, actor=actor, moment=moment)
    says = f"Room added: {room_called(room)}."
    _tell(visit, Verb.ROOM_ADDED, says, actor=actor, moment=moment, subject=f"room:{room.pk}")
    refresh([visit.unit_id], moment=moment, actor=actor)
    return room


def room_ref(key: UUID) -> str:
    """The ref of a room that a phone made: the phone can name it before it is sent."""
    return f"room-{key.hex}"


@transaction.atomic
def found_record(
    visit_id: int,
    *,
    key: UUID,
    photos: Sequence[Accepted] = (),
    at: datetime | None = None,
    actor: Any,
    moment: Moment,
    **facts: Any,
) -> Defect:
    """A defect that was seen, with its photos or without: all of it or nothing. `facts`: as for `defect_record`.

    Taken after the end too, as a danger must not be lost. Raises ValidationError, NotAllowed.
    """
    visit = _locked(visit_id)
    held = Defect.objects.filter(key=key).first()
    if held is not None and any(getattr(held, name) != value for name, value in facts.items()):
        raise ValidationError(SENT_BEFORE)
    found = moment_of(_when(visit, at, moment)).day
    defect = defect_record(
        visit.unit_id, key=key, visit=visit, found=found, **facts, actor=actor, moment=moment
    )
    if photos:
        evidence_add_all(defect.pk, key=key, stage="before", accepted=photos, actor=actor, moment=moment)
    return defect


@transaction.atomic
def photo_add(
    visit_id: int, *, key: UUID, defect_key: UUID, accepted: Accepted, actor: Any, moment: Moment
) -> Evidence:
    """A photo of a defect that was sent before. Raises ValidationError, NotAllowed."""
    visit = _locked(visit_id)
    defect = Defect.objects.filter(visit=visit, key=defect_key).first()
    if defect is None:
        raise NotAllowed("The defect that this photo shows is not on record. Send the defect first.")
    return evidence_add(defect.pk, key=key, stage="before", accepted=accepted, actor=actor, moment=moment)


@transaction.atomic
def visit_end(visit_id: int, *, says: str = "", all_rooms: bool = False, actor: Any, moment: Moment) -> Visit:
    """End a visit. Rooms on which nothing was said are recorded as not looked at, never as nothing found.

    `all_rooms`: the rooms shown are all there are. Only where the list of rooms is complete and nothing was found in
    each of them is the home recorded as looked over. Ending again only adds what is said. Raises ValidationError.
    """
    visit = _locked(visit_id)
    if visit.ended_at is not None:
        _say_more(visit, says, actor=actor, moment=moment)
        return visit
    if all_rooms and not visit.unit.rooms_listed:
        visit.unit.rooms_listed = True
        save(visit.unit, actor=actor, moment=moment)
        _tell(
            visit, Verb.UNIT_CHANGED, "The rooms on record are all there are.", actor=actor, moment=moment,
            subject=f"unit:{visit.unit_id}",
        )  # fmt: skip
        refresh([visit.unit_id], moment=moment, actor=actor)
    silent = silent_rooms(visit)
    for room in silent:
        look = Look(
            visit=visit, key=uuid5(visit.key, f"silent:{room.pk}"), room=room, what="not_seen",
            says=NOT_LOOKED_AT, at=moment.at, by=actor,
        )  # fmt: skip
        save(look, actor=actor, moment=moment)
    visit.ended_at, visit.ended_by, visit.says = moment.at, actor, says.strip()
    save(visit, actor=actor, moment=moment)
    _tell(visit, Verb.VISIT_ENDED, _ending(visit, silent), actor=actor, moment=moment)
    if looked_over(visit):
        nothing_found(visit.unit_id, actor=actor, moment=moment)
    return visit


def silent_rooms(visit: Visit) -> list[Room]:
    """The rooms of the home on which this visit has said nothing."""
    said = Look.objects.filter(visit=visit).exclude(room=None).values("room")
    found = Defect.objects.filter(visit=visit).exclude(room=None).values("room")
    rooms = Room.objects.filter(unit=visit.unit_id, removed=None).exclude(pk__in=said).exclude(pk__in=found)
    return list(rooms.order_by("level", "pk"))


def looked_over(visit: Visit) -> bool:
    """Was every room of a complete list looked at, and nothing found anywhere?"""
    if not visit.unit.rooms_listed or Defect.objects.filter(visit=visit).exists():
        return False
    last: dict[int | None, str] = dict(
        Look.objects.filter(visit=visit).order_by("at", "pk").values_list("room_id", "what")
    )
    rooms = set(Room.objects.filter(unit=visit.unit_id, removed=None).values_list("pk", flat=True))
    return bool(rooms) and rooms <= last.keys() and set(last.values()) == {"nothing"}


def _say_more(visit: Visit, says: str, *, actor: Any, moment: Moment) -> None:
    more = says.strip()
    if more and more not in visit.says:
        visit.says = f"{visit.says}\n\n{more}".strip()
        save(visit, actor=actor, moment=moment)
        _tell(visit, Verb.VISIT_ENDED, f"Said after the end of the visit: {more}", actor=actor, moment=moment)


def _ending(visit: Visit, silent: Sequence[Room]) -> str:
    found = Defect.objects.filter(visit=visit).count()
    says = f"Visit ended: {found} {'defect' if found == 1 else 'defects'} found."
    if silent:
        called = rooms_called([visit.unit_id])
        names = ", ".join(called[room.pk].full for room in silent)
        says += f" Not looked at: {names}."
    return f"{says} {visit.says}".strip()


def _locked(visit_id: int) -> Visit:
    """The visit, with its home locked first: the same order as every other writer."""
    locked_unit(Visit.objects.values_list("unit_id", flat=True).get(pk=visit_id))
    visit: Visit = Visit.objects.select_related("unit").get(pk=visit_id)
    return visit


def _when(visit: Visit, at: datetime | None, moment: Moment) -> datetime:
    """What a phone's clock says, no earlier than the visit began and no later than now."""
    return moment.at if at is None else max(visit.begun_at, min(at, moment.at))


def _tell(visit: Visit, verb: Verb, says: str, *, actor: Any, moment: Moment, subject: str = "") -> None:
    unit: Unit = visit.unit
    happening = Happening(verb, subject or f"visit:{visit.pk}", says, unit.pk, {"visit": visit.pk})
    record([happening], agency_id=unit.agency_id, actor=actor, moment=moment)
