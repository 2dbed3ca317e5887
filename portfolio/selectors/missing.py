"""What is not recorded about a home, each with the place where it can be."""

from dataclasses import dataclass
from typing import Any

from portfolio.law import model as law
from portfolio.models import Building, Unit

BUILDING = (
    "name", "nation", "address", "postcode", "year_built", "storeys", "top_storey_height_m",
    "self_contained_units", "purpose_built", "common_parts", "passenger_lift",
    "lift_used_at_work", "simultaneous_evacuation",
)  # fmt: skip
UNIT = {
    "label": "label", "dwelling": "dwelling", "landlord": "landlord_kind", "landlord_ref": "landlord",
    "letting.kind": "letting_kind", "occupancy.persons": "persons", "occupancy.households": "households",
    "occupancy.shares_amenities": "shares_amenities",
    "hmo.additional_licensing_area": "additional_licensing_area",
    "hmo.selective_licensing_area": "selective_licensing_area",
    "landlord_electrical_appliances": "landlord_electrical_appliances",
    "main_board_rcd_30ma": "main_board_rcd_30ma",
}  # fmt: skip
"""Facts of a unit, and the field of each. Only those of which one can say that they are missing: a home need
not have a fixed term, nor a tenant it was bought with."""
LABELS = {
    "label": "name of the home", "landlord_kind": "kind of landlord", "landlord": "landlord",
    "letting_kind": "how it is let", "dwelling": "kind of home", "name": "name of the building",
}  # fmt: skip
LISTS = {"rooms": "rooms", "appliances": "heating and cooking appliances", "alarms": "alarms"}


@dataclass(frozen=True)
class Missing:
    words: str
    anchor: str
    """The id of its field on the page where the facts of the home are edited."""


def missing(building: law.Building, unit: law.Unit) -> list[Missing]:
    found = [Missing(LISTS[name], name) for name in LISTS if getattr(unit, name) is None]
    # A house goes by the name of its building.
    wanted = {path: stored for path, stored in UNIT.items() if path != "label" or unit.dwelling != "house"}
    found += [_of(Unit, stored, "home") for path, stored in wanted.items() if _value(unit, path) is None]
    found += [
        _of(Building, name, "building")
        for name in BUILDING
        if getattr(building, name) is None and _matters(building, name)
    ]
    return found


def _matters(building: law.Building, name: str) -> bool:
    """Staff use no lift where there is none; only a building with shared parts has a way of leaving it."""
    if name == "lift_used_at_work":
        return building.passenger_lift is True
    return name != "simultaneous_evacuation" or building.common_parts is True


def _value(facts: Any, path: str) -> Any:
    for name in path.split("."):
        facts = getattr(facts, name)
    return facts


def _of(model: Any, name: str, prefix: str) -> Missing:
    label = LABELS.get(name) or str(model._meta.get_field(name).verbose_name)
    return Missing(label, f"id_{prefix}-{name}")
