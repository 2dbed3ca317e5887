"""Observations of a report become defects tied to it, so that its days and its clocks are theirs."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any

from django.core.exceptions import ValidationError
from django.db import transaction

from inspections.models import Defect
from inspections.observations import Observation
from inspections.services.defects import defect_record
from portfolio import words
from portfolio.clock import Moment
from portfolio.models import Certificate, Room
from portfolio.services.write import locked_unit

SCHEME_OF = {"eicr": "bs7671", "gas_safety_record": "igem_g11", "fire_risk_assessment": "fire"}
"""Kinds of paper that class what they observe, and by which scheme."""
Key = tuple[str, str, str]


@dataclass(frozen=True)
class Line:
    """An observation as it would be taken."""

    observation: Observation
    there: bool
    """Is it on record of this report already, or twice in the list?"""

    @property
    def new(self) -> bool:
        return not self.there and not self.observation.fault


def preview(paper: Certificate, observations: Iterable[Observation]) -> list[Line]:
    """What would be recorded of these; nothing is stored."""
    seen = {_key(d.code, d.title, _where(d)) for d in paper.defects.select_related("room")}
    lines = []
    for one in observations:
        key = _key(one.code, one.says, one.place)
        lines.append(Line(one, not one.fault and key in seen))
        seen.add(key)
    return lines


@transaction.atomic
def observations_record(
    certificate_id: int, observations: Sequence[Observation], *, actor: Any, moment: Moment
) -> list[Defect]:
    """Record all of them that are not on record of this report yet, or none. Raises ValidationError."""
    unit = locked_unit(Certificate.objects.values_list("unit_id", flat=True).get(pk=certificate_id))
    paper = Certificate.objects.get(pk=certificate_id)
    if why := why_not(paper):
        raise ValidationError(why)
    if faulty := [one for one in observations if one.fault]:
        raise ValidationError([f"Line {one.line}: {one.fault}" for one in faulty])
    if not observations:
        raise ValidationError("There is no observation in this. Write one a line.")
    rooms = _rooms(unit.rooms.filter(removed=None))
    found = []
    for line in preview(paper, observations):
        if line.new:
            one = line.observation
            room = rooms.get(one.place.casefold())
            found.append(
                defect_record(
                    unit.pk,
                    scheme=SCHEME_OF[paper.kind],
                    code=one.code,
                    title=one.says,
                    found=paper.inspected,  # type: ignore[arg-type]
                    certificate=paper,
                    room=room,
                    place="" if room else one.place,
                    note=f"Item {one.item} of the report." if one.item else "",
                    actor=actor,
                    moment=moment,
                )
            )
    return found


def why_not(paper: Certificate) -> str:
    """Why no observations can be taken from this paper; empty when they can."""
    if paper.kind not in SCHEME_OF:
        return "This kind of paper classes nothing. Record each defect by itself."
    if paper.inspected is None:
        return "The day of the inspection is not recorded. Correct the paper first: from that day all days are counted."
    if paper.withdrawn is not None:
        return "This paper no longer counts, so nothing is taken from it."
    return ""


def _key(code: str, says: str | None, place: str) -> Key:
    """What makes two observations of one report the same."""
    return code, " ".join((says or "").split()).casefold(), " ".join(place.split()).casefold()


def _where(defect: Defect) -> str:
    if defect.place or defect.room is None:
        return defect.place
    return words.ROOM_USE.get(defect.room.use or "", defect.room.ref)


def _rooms(rooms: Iterable[Room]) -> dict[str, Room]:
    """Rooms by what they are called, where only one of the home is called so."""
    named: dict[str, list[Room]] = {}
    for room in rooms:
        named.setdefault(words.ROOM_USE.get(room.use or "", room.ref).casefold(), []).append(room)
    return {name: alike[0] for name, alike in named.items() if len(alike) == 1}
