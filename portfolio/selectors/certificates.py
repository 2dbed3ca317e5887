"""What the pages about one paper read."""

from collections.abc import Iterable
from typing import Any

from portfolio import words
from portfolio.models import Certificate, Unit


def gas_appliances(unit: Unit) -> list[tuple[str, str]]:
    """Ref and plain words of each gas appliance still in the home: what a gas record can speak of."""
    rows: Iterable[Any] = unit.appliances.filter(removed=None).select_related("room").order_by("pk")
    gas = [row for row in rows if (row.kind or "gas").startswith("gas")]
    return [
        (row.ref, _words(row.kind, row.room.use if row.room else None, row.owner, row.ref)) for row in gas
    ]


def checks_of(paper: Certificate) -> dict[str, str | None]:
    """What a paper says of each appliance, by the appliance's ref."""
    return dict(paper.checks.values_list("appliance__ref", "result"))


def _words(kind: str | None, room: str | None, owner: str | None, ref: str) -> str:
    name = words.APPLIANCE[kind] if kind else f"Appliance {ref}, kind not recorded"
    where = f", {words.ROOM_USE[room].lower()}" if room else ""
    whose = " (the tenant's own)" if owner == "tenant" else ""
    return f"{name}{where}{whose}"
