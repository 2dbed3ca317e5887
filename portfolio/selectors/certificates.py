"""What the pages about one paper read."""

import re
from collections.abc import Collection, Iterable
from typing import Any

from django.db.models import Q

from portfolio import words
from portfolio.law import model as law
from portfolio.models import Certificate, Unit
from portfolio.selectors.naming import rooms_called


def gas_appliances(unit: Unit) -> list[tuple[str, str]]:
    """Ref and plain words of each gas appliance still in the home: what a gas record can speak of."""
    rows: Iterable[Any] = unit.appliances.filter(removed=None).order_by("pk")
    gas = [row for row in rows if (row.kind or "gas").startswith("gas")]
    called = rooms_called([unit.pk])
    return [
        (row.ref, _words(row.kind, called[row.room_id].short if row.room_id else "", row.owner, row.ref))
        for row in gas
    ]


def others_of_building(unit: Unit, user: Any) -> list[tuple[int, str]]:
    """Id and name of each other home of the building that this person may see, in the order of their names."""
    rows = Unit.objects.filter(building=unit.building_id).exclude(pk=unit.pk).visible_to(user)
    found = [(row.pk, row.label or row.ref) for row in rows.order_by("label", "ref")]
    return sorted(found, key=lambda one: natural(one[1]))


def natural(name: str) -> list[tuple[int, str]]:
    """A key of order in which Flat 10 comes after Flat 9."""
    return [(int(part), "") if part.isdecimal() else (0, part) for part in re.split(r"(\d+)", name.lower())]


def held_on_same_day(unit_ids: Collection[int], paper: law.Certificate) -> set[int]:
    """Those of the homes in which a paper of this kind with one of the same days is on record already."""
    days = Q()
    for name in ("inspected", "registered", "issued"):
        if day := getattr(paper, name):
            days |= Q(**{name: day})
    held = Certificate.objects.filter(days, unit__in=list(unit_ids), kind=paper.kind) if days else ()
    return {row.unit_id for row in held}


def checks_of(paper: Certificate) -> dict[str, str | None]:
    """What a paper says of each appliance, by the appliance's ref."""
    return dict(paper.checks.values_list("appliance__ref", "result"))


def _words(kind: str | None, room: str, owner: str | None, ref: str) -> str:
    name = words.APPLIANCE[kind] if kind else f"Appliance {ref}, kind not recorded"
    where = f", {room.lower()}" if room else ""
    whose = " (the tenant's own)" if owner == "tenant" else ""
    return f"{name}{where}{whose}"
