"""Invented homes as the law sees them, made from portfolio/1 objects laid over one flat that is clear for both."""

from copy import deepcopy
from datetime import date
from typing import Any

from portfolio.exchange import portfolio1
from portfolio.law.evaluate import evaluate
from portfolio.law.lawbook import Lawbook
from portfolio.law.loader import load
from portfolio.law.model import Building, Standing, Unit

TODAY = date(2026, 11, 25)

BUILDING: dict[str, Any] = {
    "ref": "B",
    "name": "Glover's Yard",
    "nation": "england",
    "address": ["4 Glover's Yard", "Thornwick"],
    "postcode": "ZZ4 4ZZ",
    "year_built": 1974,
    "storeys": 2,
    "self_contained_units": 4,
    "purpose_built": True,
    "common_parts": False,
}

FLAT: dict[str, Any] = {
    "ref": "F",
    "building": "B",
    "label": "Flat 1",
    "dwelling": "flat",
    "landlord": "private",
    "letting": {"kind": "tenancy"},
    "landlord_electrical_appliances": False,
    "occupancy": {"persons": 2, "households": 1, "shares_amenities": False},
    "hmo": {"additional_licensing_area": False, "selective_licensing_area": False},
    "tenancies": [],
    "marketing": [],
    "rooms": [
        {"ref": "hall", "level": 0, "use": "hall"},
        {"ref": "living", "level": 0, "use": "living"},
        {"ref": "kitchen", "level": 0, "use": "kitchen"},
        {"ref": "bed", "level": 1, "use": "bedroom"},
        {"ref": "landing", "level": 1, "use": "landing"},
    ],
    "appliances": [
        {"ref": "boiler", "kind": "gas_boiler", "room": "kitchen", "owner": "landlord", "installed": "2019-06-03"}
    ],
    "alarms": [
        {"ref": "s0", "kind": "smoke", "room": "hall", "working": True},
        {"ref": "s1", "kind": "smoke", "room": "landing", "working": True},
        {"ref": "co", "kind": "co", "room": "kitchen", "working": True},
    ],
    "certificates": [
        {"ref": "e", "kind": "eicr", "inspected": "2024-03-01", "outcome": "satisfactory"},
        {
            "ref": "g", "kind": "gas_safety_record", "inspected": "2026-06-02",
            "appliances": [{"appliance": "boiler", "result": "safe"}],
        },
        {"ref": "p", "kind": "epc", "registered": "2020-09-10", "until": "2030-09-09", "rating": "C"},
    ],
    "defects": [],
    "events": [],
}  # fmt: skip
"""Clear for both on `TODAY`: a let until 2027-06-02 (gas), a sale until 2030-09-09 (energy certificate)."""


def home(
    *, building: dict[str, Any] | None = None, papers: list[dict[str, Any]] | None = None, **unit: Any
) -> tuple[Building, Unit]:
    """The flat with some facts replaced. `papers` takes the place of the flat's papers of the same kinds.

    `{"kind": ...}` alone means: none of that kind.
    """
    flat = deepcopy(FLAT) | unit
    if papers is not None:
        kinds = {paper["kind"] for paper in papers}
        kept = [paper for paper in flat["certificates"] if paper["kind"] not in kinds]
        flat["certificates"] = kept + [paper for paper in papers if len(paper) > 1]
    tree = {"format": "portfolio/1", "buildings": [BUILDING | (building or {})], "units": [flat]}
    portfolio = portfolio1.from_tree(plain(tree))
    return portfolio.buildings[0], portfolio.units[0]


def standing(on: date = TODAY, book: Lawbook | None = None, **facts: Any) -> Standing:
    return evaluate(book or load(), *home(**facts), on)


def plain(tree: Any) -> Any:
    """Days as ISO text and empty text as null, TOML having neither the one nor the other."""
    if tree == "":
        return None
    if isinstance(tree, date):
        return tree.isoformat()
    if isinstance(tree, dict):
        return {key: plain(value) for key, value in tree.items()}
    return [plain(value) for value in tree] if isinstance(tree, list) else tree
