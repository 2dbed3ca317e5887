"""Reads what stands in `works.toml` and `notify.toml`, and refuses anything that could give a wrong answer."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from functools import cache
from pathlib import Path
from typing import Any

from inspections.paperwork.places import MEANS, PLACES
from portfolio.law.model import CERTIFICATES, NATIONS
from portfolio.law.packfile import DAY, LIST, TABLE, TEXT, Place, check_keys, one_of, toml

FOLDER = Path(__file__).parent
COMPLIANCE = "compliance"
"""The paper that notified work leaves."""
ANSWERS = ("yes", "no", "not_known")
NUMBER = "a whole number"
_ASK = {"kinds": LIST, "says": TEXT, "who": TEXT, "basis": TEXT, "source": TEXT}
_WORK = {"label": TEXT, "trades": LIST, "asks": LIST, "notify": TEXT}
_RULE = {"answer": TEXT, "says": TEXT, "basis": TEXT, "source": TEXT}
_RULE_MORE = {"nations": LIST, "places": LIST, "from": DAY, "until": DAY, "routes": TEXT}


@dataclass(frozen=True)
class Ask:
    kinds: tuple[str, ...]
    """Kinds of certificate; any one of them will do."""
    says: str
    who: str
    """Who may sign it."""
    within_days: int | None
    """Days after the work is finished; None: no day is set."""
    basis: str
    source: str
    nations: tuple[str, ...] = NATIONS

    def fits(self, nation: str | None) -> bool:
        """Is it asked in this nation? With the nation not recorded, yes."""
        return nation is None or nation in self.nations


@dataclass(frozen=True)
class Work:
    label: str
    trades: tuple[str, ...]
    asks: tuple[str, ...]
    notify: str
    """The table of rules that says whether it has to be notified."""
    says: str


@dataclass(frozen=True)
class Notify:
    """A rule: for these nations, places and days of the work (none named: all), this answer."""

    answer: str
    says: str
    basis: str
    source: str
    routes: str = ""
    nations: tuple[str, ...] = ()
    places: tuple[str, ...] = ()
    start: date = date.min
    end: date = date.max

    def fits(self, nation: str, place: str, on: date) -> bool:
        return (
            (not self.nations or nation in self.nations)
            and (not self.places or place in self.places)
            and self.start <= on <= self.end
        )

    @property
    def fits_all(self) -> bool:
        return not self.nations and not self.places and (self.start, self.end) == (date.min, date.max)


@dataclass(frozen=True)
class Book:
    works: Mapping[str, Work]
    asks: Mapping[str, Ask]
    notify: Mapping[str, tuple[Notify, ...]]
    routes: Mapping[str, tuple[str, ...]]


@cache
def load() -> Book:
    """What is held. Raises `PackError` for the first fault found."""
    return read(FOLDER)


def read(folder: Path) -> Book:
    """The two files of a folder. Raises `PackError` naming the file, the key and the cure."""
    notify, routes = _notify_file(folder / "notify.toml")
    place = Place(folder / "works.toml")
    data = toml(place.file)
    check_keys(place, data, {"asks": TABLE, "works": TABLE}, {})
    asks = {name: _ask(place / "asks" / name, entry) for name, entry in data["asks"].items()}
    if COMPLIANCE not in asks:
        raise (place / "asks" / COMPLIANCE).fault("missing", "Add the paper that notified work leaves.")
    works = {
        name: _work(place / "works" / name, entry, asks, notify) for name, entry in data["works"].items()
    }
    return Book(works, asks, notify, routes)


def _ask(where: Place, entry: dict[str, Any]) -> Ask:
    _table(where, entry)
    rest = {key: value for key, value in entry.items() if key != "within_days"}
    check_keys(where, rest, _ASK, {"nations": LIST})
    days = entry.get("within_days")
    if days is not None and (type(days) is not int or days < 1):
        raise (where / "within_days").fault(
            f"{days!r} is of the wrong type", f"Write {NUMBER}, or leave it out."
        )
    if not entry["kinds"]:
        raise (where / "kinds").fault("empty", "Name at least one kind of certificate.")
    kinds = _codes(where / "kinds", entry["kinds"], CERTIFICATES)
    nations = _codes(where / "nations", entry.get("nations", NATIONS), NATIONS)
    return Ask(kinds, entry["says"], entry["who"], days, entry["basis"], entry["source"], nations)


def _work(
    where: Place, entry: dict[str, Any], asks: Mapping[str, Ask], notify: Mapping[str, tuple[Notify, ...]]
) -> Work:
    _table(where, entry)
    check_keys(where, entry, _WORK, {"says": TEXT})
    one_of(where / "notify", entry["notify"], tuple(notify))
    wanted = _codes(where / "asks", entry["asks"], tuple(asks))
    if not wanted and "says" not in entry:
        raise (where / "says").fault("missing where no paper is asked for", "Say what to keep instead.")
    return Work(entry["label"], tuple(entry["trades"]), wanted, entry["notify"], entry.get("says", ""))


def _notify_file(file: Path) -> tuple[dict[str, tuple[Notify, ...]], dict[str, tuple[str, ...]]]:
    place, data = Place(file), toml(file)
    check_keys(place, data, {"notify": TABLE, "routes": TABLE}, {})
    routes = {}
    for name, entry in data["routes"].items():
        check_keys(place / "routes" / name, _table(place / "routes" / name, entry), {"says": LIST}, {})
        routes[name] = tuple(entry["says"])
    found = {}
    for name, entries in data["notify"].items():
        where = place / "notify" / name
        if not isinstance(entries, list) or not entries:
            raise where.fault("not a list of rules", f"Write it as [[{where.key}]].")
        rules = tuple(_rule(where / number, entry, routes) for number, entry in enumerate(entries))
        if not rules[-1].fits_all:
            raise (where / (len(rules) - 1)).fault(
                "some nation, place or day has no answer", "Let the last rule fit everything."
            )
        found[name] = rules
    return found, routes


def _rule(where: Place, entry: dict[str, Any], routes: Mapping[str, tuple[str, ...]]) -> Notify:
    check_keys(where, _table(where, entry), _RULE, _RULE_MORE)
    one_of(where / "answer", entry["answer"], ANSWERS)
    if (entry["answer"] == "yes") != ("routes" in entry):
        raise (where / "routes").fault("belongs to a yes", "Add it to each yes, and to nothing else.")
    if "routes" in entry:
        one_of(where / "routes", entry["routes"], tuple(routes))
    start, end = entry.get("from", date.min), entry.get("until", date.max)
    if end < start:
        raise (where / "until").fault(f"{end} is before from, {start}", "Until is the last day it holds.")
    sure = tuple(code for code in PLACES if code not in MEANS)
    return Notify(
        answer=entry["answer"],
        says=entry["says"],
        basis=entry["basis"],
        source=entry["source"],
        routes=entry.get("routes", ""),
        nations=_codes(where / "nations", entry.get("nations", ()), NATIONS),
        places=_codes(where / "places", entry.get("places", ()), sure),
        start=start,
        end=end,
    )


def _codes(where: Place, listed: Any, allowed: tuple[str, ...]) -> tuple[str, ...]:
    return tuple(one_of(where, code, allowed) for code in listed)


def _table(where: Place, entry: object) -> dict[str, Any]:
    if not isinstance(entry, dict):
        raise where.fault("not a table", "Write its keys under it.")
    return entry
