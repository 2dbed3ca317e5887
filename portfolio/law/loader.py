"""Reads the law packs, and the register of what they cover, and refuses any that could give a wrong answer.

A pack is a folder: `pack.toml` says what it is, and every other `.toml` file in it holds one requirement.
"""

from collections.abc import Mapping
from datetime import date, datetime
from functools import cache
from pathlib import Path
from typing import Any

from .dates import day_after
from .lawbook import Announced, Dated, Lawbook, Pack, Registered, Topic, Value, Voice, covers
from .model import NATIONS, Basis
from .packfile import BOOL, DAY, LIST, TABLE, TEXT, PackError, Place, check_keys, one_of, toml
from .rules import RULES, Rule

__all__ = ["PACKS", "PackError", "load", "register"]

PACKS = Path(__file__).parent / "packs"
REGISTER = Path(__file__).with_name("register.toml")
GATES = ("block", "warn", "info", "none")

_PACK = {"name": TEXT, "title": TEXT, "version": TEXT, "released": DAY, "nations": LIST}
_TOPIC = {
    "id": TEXT, "title": TEXT, "rule": TEXT, "begins": DAY, "instrument": TEXT, "provision": TEXT,
    "url": TEXT, "basis": TEXT, "checked_on": DAY, "checked_by": TEXT, "continuing": BOOL,
    "gate": TABLE,
}  # fmt: skip
_TOPIC_MORE = {"duty_rule": TEXT, "duties": TABLE, "values": TABLE, "announced": LIST, "notes": TEXT}
_VALUE = {"from": DAY, "source": TEXT, "basis": TEXT}
_KINDS = {int: "a whole number", bool: BOOL, str: TEXT, date: DAY, list: "a list of words"}


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
    packs = tuple(_pack(file, shelf) for file in files)
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


def _pack(file: Path, shelf: dict[str, Topic]) -> Pack:
    place, data = Place(file), toml(file)
    check_keys(place, data, _PACK, {})
    if data["name"] != file.parent.name:
        raise (place / "name").fault(
            f"{data['name']!r} is not the folder's name", f"Write {file.parent.name!r}."
        )
    for nation in data["nations"]:
        one_of(place / "nations", nation, NATIONS)
    topics = []
    for one in sorted(file.parent.glob("*.toml")):
        if one != file:
            topic = _topic(one, data["name"], shelf)
            if topic.id in shelf:
                raise (Place(one) / "id").fault(
                    f"{topic.id!r} is used twice", "Give each requirement its own id."
                )
            shelf[topic.id] = topic
            topics.append(topic)
    ordered = tuple(sorted(topics, key=lambda topic: topic.id))
    _check_reads(file, ordered, shelf)
    return Pack(
        data["name"], data["title"], data["version"], data["released"], tuple(data["nations"]), ordered
    )


def _check_reads(file: Path, topics: tuple[Topic, ...], shelf: Mapping[str, Topic]) -> None:
    for topic in topics:
        for name in (topic.rule, topic.duty_rule):
            for wanted in RULES[name].reads if name else ():
                if wanted not in shelf:
                    cure = f"Add a file for {wanted} to this pack or to one before it in the alphabet."
                    raise Place(file).fault(f"{topic.id} reads {wanted}, which no pack holds", cure)


def _topic(file: Path, pack: str, shelf: Mapping[str, Topic]) -> Topic:
    place, data = Place(file), toml(file)
    check_keys(place, data, _TOPIC, _TOPIC_MORE)
    check_keys(place / "gate", data["gate"], {"let": TEXT, "sale": TEXT}, {})
    gate = [one_of(place / "gate" / purpose, data["gate"][purpose], GATES) for purpose in ("let", "sale")]
    values = {
        name: _values(place / "values" / name, entries) for name, entries in data.get("values", {}).items()
    }
    topic = Topic(
        id=data["id"], title=data["title"], pack=pack, let=gate[0], sale=gate[1], begins=data["begins"],
        source=f"{data['instrument']}, {data['provision']}", url=data["url"],
        basis=_basis(place, data), checked_on=data["checked_on"], checked_by=data["checked_by"],
        continuing=data["continuing"], rule=data["rule"], duty_rule=data.get("duty_rule"),
        duty_titles=data.get("duties", {}), values=values, announced=_announced(place, data), shelf=shelf,
        notes=data.get("notes", ""),
    )  # fmt: skip
    for key in ("rule", "duty_rule"):
        if key in data:
            _check_needs(place, key, topic, data[key])
    duties = RULES[topic.duty_rule].duties if topic.duty_rule else ()
    check_keys(place / "duties", topic.duty_titles, dict.fromkeys(duties, TEXT), {})
    return topic


def _check_needs(place: Place, key: str, topic: Topic, name: str) -> None:
    """The rule exists, and the pack holds every value it needs from the first day on."""
    one_of(place / key, name, tuple(sorted(RULES)))
    rule: Rule = RULES[name]
    for value, kind in rule.needs.items():
        where = place / "values" / value
        if value not in topic.values:
            raise where.fault(
                f"missing, and the rule {name} needs it", f"Add [[values.{value}]] with {_KINDS[kind]}."
            )
        first = topic.values[value][0]
        if first.start > topic.begins:
            raise where.fault(
                f"gap: nothing from {topic.begins} to {first.start}", "Let the first entry start then."
            )
        for number, entry in enumerate(topic.values[value]):
            if not _is_kind(entry.value, kind):
                raise (where / number / "value").fault(
                    f"{entry.value!r} is of the wrong type", f"Write {_KINDS[kind]}."
                )


def _is_kind(value: Value, kind: type) -> bool:
    if kind is list:
        return isinstance(value, tuple)
    return type(value) is kind


def _values(place: Place, entries: object) -> tuple[Dated, ...]:
    """The dated entries of one value: in order, without overlap or gap, the last one open."""
    if not isinstance(entries, list) or not entries:
        raise place.fault(
            "not a list of dated entries", f"Write it as [[{place.key}]] with from, value, source, basis."
        )
    found: list[Dated] = []
    for number, entry in enumerate(entries):
        where = place / number
        found.append(_dated(where, entry))
        if number:
            _check_follows(where, found[-2], found[-1])
    if found[-1].end is not None:
        raise (place / (len(found) - 1) / "until").fault(
            "gap: nothing is held after it", "Add what follows, or drop it."
        )
    return tuple(found)


def _check_follows(where: Place, before: Dated, after: Dated) -> None:
    wanted = day_after(before.end) if before.end is not None else None
    if wanted is None or after.start < wanted:
        cure = "End the entry before it on the day before this one begins."
        raise (where / "from").fault(f"overlap: {after.start} is inside the entry before it", cure)
    if after.start > wanted:
        raise (where / "from").fault(f"gap: nothing from {wanted} to {after.start}", f"Begin it on {wanted}.")


def _dated(where: Place, entry: object) -> Dated:
    if not isinstance(entry, dict):
        raise where.fault("not a table", "Write from, value, source and basis under it.")
    if "value" not in entry:
        raise (where / "value").fault("missing", "Add the value.")
    rest = {key: one for key, one in entry.items() if key != "value"}
    check_keys(where, rest, _VALUE, {"until": DAY, "confidence": TEXT})
    end = entry.get("until")
    if end is not None and end < entry["from"]:
        raise (where / "until").fault(
            f"{end} is before from, {entry['from']}", "Until is the last day it holds."
        )
    value = _value(where / "value", entry["value"])
    return Dated(entry["from"], end, value, entry["source"], _basis(where, entry), entry.get("confidence"))


def _value(where: Place, value: object) -> Value:
    if isinstance(value, list) and all(isinstance(one, str) for one in value):
        return tuple(value)
    if isinstance(value, (int, float, bool, str, date)) and not isinstance(value, datetime):
        return value
    raise where.fault(
        f"{value!r} is of the wrong type", "Write a number, true or false, text, a day or a list of words."
    )


def _announced(place: Place, data: Mapping[str, Any]) -> tuple[Announced, ...]:
    found = []
    for number, entry in enumerate(data.get("announced", [])):
        where = place / "announced" / number
        if not isinstance(entry, dict):
            raise where.fault("not a table", "Write [[announced]] with says and source under it.")
        check_keys(where, entry, {"says": TEXT, "source": TEXT}, {"from": DAY})
        found.append(Announced(entry["says"], entry["source"], entry.get("from")))
    return tuple(found)


def _basis(where: Place, data: Mapping[str, Any]) -> Basis:
    return Basis(one_of(where / "basis", data["basis"], tuple(Basis)))


_STATUSES = ("covered", "partly", "not_yet")
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
