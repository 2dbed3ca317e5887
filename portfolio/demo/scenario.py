"""The invented homes under fixtures/scenario, told for a day as portfolio/1 files.

Each home there takes a layout and some histories and adds what is its own. What it says beside the facts (its
story, the bars it should meet, the marks it should carry) is kept apart from the file.
"""

import json
import tomllib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date
from functools import cache
from pathlib import Path
from typing import Any

from portfolio.demo.days import in_place
from portfolio.exchange import portfolio1
from portfolio.law import model as law

FOLDER = Path(__file__).resolve().parents[2] / "fixtures" / "scenario"
LISTS = ("rooms", "appliances", "alarms", "tenancies", "marketing", "certificates", "defects", "events")
BESIDE = ("story", "let", "sale", "mark", "scans", "photos", "layout", "history", "days", "rating") + (
    "leave_out",
    "not_recorded",
)
"""Keys of a home that are no facts of its own: they say how it is put together, and why it is here."""
Table = dict[str, Any]


@dataclass(frozen=True, slots=True)
class Home:
    """One home of the scenario: its facts as JSON, and what is said beside them."""

    facts: Table
    story: str
    bars: Mapping[str, frozenset[str]]
    """For `let` and for `sale`: the bars it should meet, each "requirement kind"."""
    mark: tuple[str, ...]
    """What the demonstration marks it for."""
    scans: tuple[str, ...]
    """Refs of the papers whose scan is held."""
    photos: Mapping[str, str]
    """Captions of photographs, by the ref of the paper they belong to."""

    @property
    def ref(self) -> str:
        return self.facts["ref"]


@dataclass(frozen=True, slots=True)
class Told:
    """A part of the scenario on a day."""

    buildings: tuple[Table, ...]
    homes: tuple[Home, ...]

    def document(self) -> Table:
        """The portfolio/1 file of it."""
        units = [home.facts for home in self.homes]
        return {"format": "portfolio/1", "buildings": list(self.buildings), "units": units}

    def portfolio(self) -> law.Portfolio:
        """Raises portfolio1.Faults when the scenario breaks the rules of the file."""
        return portfolio1.read(json.dumps(self.document()))


def agency_homes(on: date) -> Told:
    """The homes of the agency whose agent signs in."""
    return _told(sorted((FOLDER / "homes").glob("*.toml")), on)


def strangers_homes(on: date) -> Told:
    """The homes of the second agency, which the first must never see."""
    return _told([FOLDER / "elsewhere.toml"], on)


@cache
def people() -> Table:
    """Both agencies with their landlords and users: tables `agency` and `elsewhere`."""
    return _read(FOLDER / "people.toml")


def policy() -> tuple[Table, str]:
    """What the agency's house policy asks, and why."""
    told = people()["agency"]["policy"]
    return told["asks"], told["why"]


def logins() -> list[tuple[str, str, str]]:
    """Role, e-mail and password of the demonstration's users, the stranger's last."""
    users = people()["agency"]["users"] + people()["elsewhere"]["users"]
    return [(user["role"], user["email"], user["password"]) for user in users]


@cache
def _read(path: Path) -> Table:
    return tomllib.loads(path.read_text(encoding="utf-8"))


def _told(paths: Iterable[Path], on: date) -> Told:
    buildings: list[Table] = []
    homes: list[Home] = []
    for path in paths:
        part = _read(path)
        buildings += [part.get("each_building", {}) | building for building in part["buildings"]]
        homes += [_home(part.get("each", {}), unit, on) for unit in part["units"]]
    return Told(tuple(buildings), tuple(homes))


def _home(each: Table, own: Table, on: date) -> Home:
    home = each | own
    names = each.get("history", []) + own.get("history", [])
    parts = [_read(FOLDER / "layouts.toml")[home["layout"]]] if "layout" in home else []
    parts += [_read(FOLDER / "histories.toml")[name] for name in names]
    parts.append({name: home[name] for name in LISTS if name in home})
    facts = {key: value for key, value in home.items() if key not in BESIDE and key not in LISTS}
    facts |= _lists(parts, frozenset(home.get("leave_out", [])))
    known = {"today": on}
    known |= {name: date.fromisoformat(day) for name, day in _as_table(in_place(home.get("days", {}), known))}
    facts = _named(
        facts, {"$home": home["ref"], "$building": home["building"], "$rating": home.get("rating", "")}
    )
    facts = dict(_as_table(in_place(facts, known)))
    _cover_gas(facts)
    _test_alarms(facts, known.get("start"))
    for name in home.get("not_recorded", []):
        facts.pop(name)
    return Home(
        facts=facts,
        story=home.get("story", ""),
        bars={purpose: frozenset(home.get(purpose, [])) for purpose in law.PURPOSES},
        mark=tuple(home.get("mark", [])),
        scans=tuple(home.get("scans", [])),
        photos=home.get("photos", {}),
    )


def _lists(parts: list[Table], left_out: frozenset[str]) -> Table:
    """Every list that some part tells, joined in their order."""
    return {
        name: [item for part in parts for item in part.get(name, []) if item.get("ref") not in left_out]
        for name in LISTS
        if any(name in part for part in parts)
    }


def _named(value: Any, names: Mapping[str, str]) -> Any:
    """The same tree with `$home`, `$building` and `$rating` filled in."""
    if isinstance(value, str):
        for name, text in names.items():
            value = value.replace(name, text)
        return value
    if isinstance(value, list):
        return [_named(item, names) for item in value]
    return {key: _named(item, names) for key, item in value.items()} if isinstance(value, dict) else value


def _as_table(tree: object) -> Iterable[tuple[str, Any]]:
    assert isinstance(tree, dict)
    return tree.items()


def _cover_gas(facts: Table) -> None:
    """A gas record that lists no appliances covers all the landlord's gas appliances: all were safe."""
    safe = [
        {"appliance": appliance["ref"], "result": "safe"}
        for appliance in facts.get("appliances", [])
        if appliance["kind"].startswith("gas_") and appliance["owner"] == "landlord"
    ]
    for paper in facts.get("certificates", []):
        if paper["kind"] == "gas_safety_record":
            paper.setdefault("appliances", safe)


def _test_alarms(facts: Table, start: date | None) -> None:
    """Where a tenancy has a first day, the smoke and carbon monoxide alarms were tested on it."""
    for alarm in facts.get("alarms", []):
        if start and alarm["kind"] != "heat":
            alarm.setdefault("tested", [start.isoformat()])
