"""One invented home with every paper and alarm that any of the four nations asks for, to be placed in each of them."""

from copy import deepcopy
from typing import Any

from portfolio.law.lawbook import Lawbook
from portfolio.law.model import Building, Standing, Unit

from .homes import BUILDING, FLAT, TODAY, home
from .homes import standing as _standing

Facts = dict[str, Any]

PLACE: Facts = BUILDING | {
    "top_storey_height_m": 3.1,
    "common_parts": True,
    "passenger_lift": False,
    "lift_used_at_work": False,
    "simultaneous_evacuation": False,
}
WIRED: Facts = {"power": "mains", "interlinked": True, "working": True, "replace_by": "2034-05-01"}
ALARMS: list[Facts] = [
    {"ref": "s0", "kind": "smoke", "room": "hall"} | WIRED,
    {"ref": "s1", "kind": "smoke", "room": "landing"} | WIRED,
    {"ref": "s2", "kind": "smoke", "room": "living"} | WIRED,
    {"ref": "h", "kind": "heat", "room": "kitchen"} | WIRED,
    {"ref": "co", "kind": "co", "room": "kitchen"} | WIRED | {"power": "sealed_battery", "interlinked": False},
]  # fmt: skip
PAPERS: list[Facts] = [
    *FLAT["certificates"],
    {"ref": "a", "kind": "pat", "inspected": "2024-03-01", "outcome": "satisfactory"},
    {"ref": "r", "kind": "landlord_registration", "issued": "2025-05-12", "until": "2028-05-11"},
    {"ref": "hr", "kind": "home_report", "inspected": "2026-11-02"},
    {"ref": "f", "kind": "fire_risk_assessment", "inspected": "2026-03-09", "until": "2027-03-08"},
    {"ref": "as", "kind": "asbestos_register", "inspected": "2026-03-09"},
    {"ref": "el", "kind": "emergency_lighting_test", "inspected": "2026-09-07"},
    {"ref": "fa", "kind": "fire_alarm_service", "inspected": "2026-09-07"},
    {"ref": "w", "kind": "legionella_assessment", "inspected": "2026-03-09"},
]
COMPLETE: Facts = FLAT | {
    "landlord_electrical_appliances": True,
    "main_board_rcd_30ma": True,
    "alarms": ALARMS,
    "certificates": PAPERS,
}
"""Clear for let and sale on `TODAY` in every nation."""


def facts_in(nation: str | None, changes: Facts | None = None) -> Facts:
    """The complete home's facts in a nation, ready for `homes.home`, some of them replaced.

    `papers` takes the place of the papers of the same kinds, and `building` is laid over the building.
    """
    changes = deepcopy(changes or {})
    unit = {key: value for key, value in deepcopy(COMPLETE).items() if key not in ("ref", "building")}
    place = PLACE | {"nation": nation} | changes.pop("building", {})
    return unit | changes | {"building": place}


def complete(nation: str | None, **changes: Any) -> tuple[Building, Unit]:
    return home(**facts_in(nation, changes))


def standing_in(nation: str | None, on: Any = TODAY, book: Lawbook | None = None, **changes: Any) -> Standing:
    return _standing(on, book, **facts_in(nation, changes))
