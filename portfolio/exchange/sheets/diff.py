"""What an import would change, in words: the thing, what is on record, what the sheet says."""

from collections.abc import Iterator
from dataclasses import dataclass, fields
from datetime import date
from typing import Any

from portfolio import words
from portfolio.law import model as law

LABELS = {
    "nation": words.NATION,
    "dwelling": words.DWELLING,
    "landlord": words.LANDLORD,
    "kind": words.LETTING | words.APPLIANCE | words.ALARM | words.CERTIFICATE,
    "use": words.ROOM_USE,
    "owner": words.OWNER,
    "power": words.POWER,
    "outcome": words.OUTCOME,
    "exemption": words.EXEMPTION,
    "result": words.APPLIANCE_RESULT,
    "purpose": words.PURPOSE,
}
NAMES = {
    "dwelling": "kind of home",
    "landlord": "kind of landlord",
    "landlord_ref": "landlord",
    "label": "flat",
    "until": "expiry",
    "main_board_rcd_30ma": "30 mA RCD",
    "top_storey_height_m": "top storey height (m)",
    "letting kind": "let as",
    "hmo additional_licensing_area": "additional licensing area",
    "hmo selective_licensing_area": "selective licensing area",
}
GROUPS = ("letting", "occupancy", "hmo")
NOTHING = "not recorded"


@dataclass(frozen=True, slots=True)
class Change:
    what: str
    old: str
    new: str


def building_changes(before: law.Building | None, said: law.Building) -> list[Change]:
    return list(_facts(before or law.Building(said.ref), said, "building: "))


def unit_changes(before: law.Unit | None, said: law.Unit) -> list[Change]:
    """What a unit's row adds or changes; what it does not record is no change."""
    before = before or law.Unit(said.ref, said.building)
    changes = list(_facts(before, said))
    for name in GROUPS:
        changes += _facts(getattr(before, name), getattr(said, name), "", name)
    for name in ("rooms", "appliances", "alarms", "certificates", "defects", "tenancies", "marketing"):
        changes += _list(name, getattr(before, name), getattr(said, name))
    return changes


def shown(name: str, value: Any) -> str:
    """A value as a person reads it."""
    if value is None:
        return NOTHING
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, date):
        return f"{value:%-d %b %Y}"
    if isinstance(value, law.ApplianceCheck):
        return f"{value.appliance} {shown('result', value.result)}"
    if isinstance(value, tuple):
        return ", ".join(shown(name, part) for part in value) or "none"
    if isinstance(value, float):
        return f"{value:g}"
    return LABELS.get(name, {}).get(value, str(value))


def _facts(before: Any, said: Any, prefix: str = "", group: str = "") -> Iterator[Change]:
    for f in fields(said):
        old, new = getattr(before, f.name), getattr(said, f.name)
        if new is None or old == new or f.name in ("ref", "building", *GROUPS) or _is_list(new):
            continue
        name = NAMES.get(f"{group} {f.name}".strip()) or f.name.replace("_", " ")
        yield Change(prefix + name, shown(f.name, old), shown(f.name, new))


def _is_list(value: Any) -> bool:
    """A tuple of records; it is compared item by item."""
    return (
        isinstance(value, tuple)
        and not all(isinstance(part, str | date | law.ApplianceCheck) for part in value)
        or value == ()
    )


def _list(name: str, before: tuple[Any, ...] | None, said: tuple[Any, ...] | None) -> Iterator[Change]:
    if said is None:
        return
    if not said and before is None:
        yield Change(name, NOTHING, "none")
    held = {getattr(item, "ref", item): item for item in before or ()}
    for item in said:
        was = held.get(getattr(item, "ref", item))
        title = f"{name.removesuffix('s') if name != 'tenancies' else 'tenancy'} {getattr(item, 'ref', '')}".strip()
        if was is None:
            yield Change(title, NOTHING, _whole(item))
        elif was != item:
            yield from _facts(was, item, f"{title}: ")


def _whole(item: Any) -> str:
    said = [(f.name, getattr(item, f.name)) for f in fields(item) if f.name != "ref"]
    return ", ".join(
        shown(name, value)
        if name in LABELS
        else f"{NAMES.get(name, name.replace('_', ' '))} {shown(name, value)}"
        for name, value in said
        if value is not None
    )
