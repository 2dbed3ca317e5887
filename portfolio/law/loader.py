"""Reads the law packs, and the register of what they cover, and refuses any that could give a wrong answer.

A pack is a folder: `pack.toml` says what it is, `bank_holidays.toml` (if it is there) the days off of its nation, and
every other `.toml` file holds one requirement.
"""

from collections.abc import Mapping
from datetime import date
from functools import cache
from hashlib import sha256
from pathlib import Path

from .lawbook import BankHolidays, Lawbook, Pack, Registered, Topic, Voice, covers
from .model import NATIONS
from .packfile import DAY, LIST, TABLE, TEXT, PackError, Place, check_keys, one_of, toml
from .rules import RULES
from .topicfile import read_topic

__all__ = ["PACKS", "PackError", "load", "register"]

PACKS = Path(__file__).parent / "packs"
REGISTER = Path(__file__).with_name("register.toml")

_PACK = {"name": TEXT, "title": TEXT, "version": TEXT, "released": DAY, "nations": LIST}


def load(folder: Path | None = None) -> Lawbook:
    """The law book in a folder of packs, by default the ones that come with Sneck (read once and kept).

    Raises `PackError` for the first fault found.
    """
    return _bundled() if folder is None else _read(folder)


@cache
def _bundled() -> Lawbook:
    return _read(PACKS)


def _read(folder: Path) -> Lawbook:
    files = sorted(folder.glob("*/pack.toml"))
    if not files:
        raise PackError(f"{folder}: no packs. Put each pack in a folder of its own with a pack.toml in it.")
    shelf: dict[str, Topic] = {}
    days_off: dict[str, BankHolidays] = {}
    packs = tuple(_pack(file, shelf, days_off) for file in files)
    for file, pack in zip(files, packs, strict=True):
        _check_reads(file, pack.topics, shelf)
        _check_announced(file, pack.topics, shelf)
    voices = {nation: _voices(packs, nation) for nation in (*NATIONS, None)}
    versions = {nation: _versions(packs, nation) for nation in voices}
    return Lawbook(packs, shelf, voices, versions)


def _versions(packs: tuple[Pack, ...], nation: str | None) -> tuple[tuple[str, str], ...]:
    return tuple((pack.name, pack.version) for pack in packs if covers(pack, nation))


def _voices(packs: tuple[Pack, ...], nation: str | None) -> tuple[Voice, ...]:
    """Verdicts and duties of every topic that speaks for the nation, in order of pack and id."""
    found = []
    for pack in packs:
        for topic in pack.topics if covers(pack, nation) else ():
            found.append(Voice(topic, RULES[topic.rule].function, True))
            if topic.duty_rule is not None:
                found.append(Voice(topic, RULES[topic.duty_rule].function, False))
    return tuple(found)


def _pack(file: Path, shelf: dict[str, Topic], days_off: dict[str, BankHolidays]) -> Pack:
    place, data = Place(file), toml(file)
    check_keys(place, data, _PACK, {})
    if data["name"] != file.parent.name:
        raise (place / "name").fault(
            f"{data['name']!r} is not the folder's name", f"Write {file.parent.name!r}."
        )
    for nation in data["nations"]:
        one_of(place / "nations", nation, NATIONS)
    holidays = file.with_name("bank_holidays.toml")
    if holidays.exists():
        days_off |= dict.fromkeys(data["nations"], _bank_holidays(holidays))
    topics = []
    for one in sorted(file.parent.glob("*.toml")):
        if one not in (file, holidays):
            topic = read_topic(one, data["name"], shelf, days_off)
            if topic.id in shelf:
                raise (Place(one) / "id").fault(
                    f"{topic.id!r} is used twice", "Give each requirement its own id."
                )
            shelf[topic.id] = topic
            topics.append(topic)
    ordered = tuple(sorted(topics, key=lambda topic: topic.id))
    nations = tuple(data["nations"])
    own_days = days_off[nations[0]] if holidays.exists() else None
    return Pack(data["name"], data["title"], data["version"], data["released"], nations, ordered, own_days)


def _bank_holidays(file: Path) -> BankHolidays:
    """Year by year without a gap, each year's days in order."""
    place, data = Place(file), toml(file)
    check_keys(place, data, {"source": TEXT, "url": TEXT, "checked_on": DAY, "days": TABLE}, {})
    years = [int(year) for year in data["days"] if year.isdigit()]
    if not years or years != list(range(years[0], years[0] + len(data["days"]))):
        raise (place / "days").fault("not a run of years", "Write one line for each year, in order, no gap.")
    for year, days in data["days"].items():
        if not isinstance(days, list) or not all(type(d) is date and d.year == int(year) for d in days):
            raise (place / "days" / year).fault("not a list of days of that year", "Write days of that year.")
    found = frozenset(day for days in data["days"].values() for day in days)
    return BankHolidays(years[0], years[-1], found, data["source"])


def _check_reads(file: Path, topics: tuple[Topic, ...], shelf: Mapping[str, Topic]) -> None:
    for topic in topics:
        for name in (topic.rule, topic.duty_rule):
            for wanted in RULES[name].reads if name else ():
                if wanted not in shelf:
                    cure = f"Add a file for {wanted} to a pack."
                    raise Place(file).fault(f"{topic.id} reads {wanted}, which no pack holds", cure)


def _check_announced(file: Path, topics: tuple[Topic, ...], shelf: Mapping[str, Topic]) -> None:
    """Whoever asks "what if" names announced law by its id alone."""
    for topic in topics:
        mine = {entry.id for entry in topic.announced}
        for other in shelf.values() if mine else ():
            for entry in other.announced:
                if other.id != topic.id and entry.id in mine:
                    what = f"announced {entry.id!r} is in both {topic.id} and {other.id}"
                    raise Place(file).fault(what, "Give each its own id.")


def digest(folder: Path) -> str:
    """SHA-256 over a pack's files in order of name, line ends as on Unix: the same only while nothing is changed."""
    found = sha256()
    for file in sorted(folder.glob("*.toml")):
        found.update(file.name.encode() + b"\0" + file.read_bytes().replace(b"\r\n", b"\n") + b"\0")
    return found.hexdigest()


_STATUSES = ("covered", "partly", "described", "not_yet")
_ENTRY = {"id": TEXT, "title": TEXT, "nations": LIST, "status": TEXT, "checked_on": DAY}


def register() -> tuple[Registered, ...]:
    """What the law asks as far as we know, and how much of it is held. Raises `PackError`."""
    return _register(REGISTER)


def _register(file: Path) -> tuple[Registered, ...]:
    place, data = Place(file), toml(file)
    check_keys(place, data, {"requirement": LIST}, {})
    found: dict[str, Registered] = {}
    for number, entry in enumerate(data["requirement"]):
        where = place / "requirement" / number
        check_keys(where, entry, _ENTRY, {"note": TEXT})
        for nation in entry["nations"]:
            one_of(where / "nations", nation, NATIONS)
        status = one_of(where / "status", entry["status"], _STATUSES)
        if entry["id"] in found:
            raise (where / "id").fault(
                f"{entry['id']!r} is used twice", "Keep one entry for each requirement."
            )
        found[entry["id"]] = Registered(
            entry["id"],
            entry["title"],
            tuple(entry["nations"]),
            status,
            entry["checked_on"],
            entry.get("note", ""),
        )
    return tuple(found.values())
