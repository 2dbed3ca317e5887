"""Reads one requirement's file of a pack, and refuses any that could give a wrong answer."""

from collections.abc import Mapping
from datetime import date, datetime
from pathlib import Path
from typing import Any

from .dates import day_after
from .lawbook import Announced, BankHolidays, Dated, Topic, Value
from .model import Basis
from .packfile import BOOL, DAY, LIST, TABLE, TEXT, Place, check_keys, one_of, toml
from .rules import RULES, Rule

GATES = ("block", "warn", "info", "none")

_TOPIC = {
    "id": TEXT, "title": TEXT, "asks": TEXT, "rule": TEXT, "begins": DAY, "instrument": TEXT,
    "provision": TEXT, "url": TEXT, "basis": TEXT, "checked_on": DAY, "checked_by": TEXT, "continuing": BOOL,
    "gate": TABLE,
}  # fmt: skip
_TOPIC_MORE = {
    "duty_rule": TEXT, "duties": TABLE, "values": TABLE, "labels": TABLE, "announced": LIST, "notes": TEXT,
}  # fmt: skip
_VALUE = {"from": DAY, "source": TEXT, "basis": TEXT}
_KINDS = {int: "a whole number", bool: BOOL, str: TEXT, date: DAY, list: "a list of words"}


def read_topic(
    file: Path, pack: str, shelf: Mapping[str, Topic], bank_holidays: Mapping[str, BankHolidays]
) -> Topic:
    """The requirement in a file. `shelf` and `bank_holidays` are the whole book's and may still be filling.

    Raises `PackError` for the first fault found.
    """
    place, data = Place(file), toml(file)
    check_keys(place, data, _TOPIC, _TOPIC_MORE)
    check_keys(place / "gate", data["gate"], {"let": TEXT, "sale": TEXT}, {})
    gate = [one_of(place / "gate" / purpose, data["gate"][purpose], GATES) for purpose in ("let", "sale")]
    values = {
        name: _values(place / "values" / name, entries) for name, entries in data.get("values", {}).items()
    }
    topic = Topic(
        id=data["id"], title=data["title"], asks=data["asks"], pack=pack, let=gate[0], sale=gate[1],
        begins=data["begins"],
        source=f"{data['instrument']}, {data['provision']}", url=data["url"],
        basis=_basis(place, data), checked_on=data["checked_on"], checked_by=data["checked_by"],
        continuing=data["continuing"], rule=data["rule"], duty_rule=data.get("duty_rule"),
        duty_titles=data.get("duties", {}), values=values, labels=data.get("labels", {}),
        announced=_announced(place, data, values), notes=data.get("notes", ""), shelf=shelf,
        bank_holidays=bank_holidays,
    )  # fmt: skip
    for key in ("rule", "duty_rule"):
        if key in data:
            _check_needs(place, key, topic, data[key])
    duties = [name for rule in (topic.rule, topic.duty_rule) if rule for name in RULES[rule].duties]
    check_keys(place / "duties", topic.duty_titles, dict.fromkeys(duties, TEXT), {})
    check_keys(place / "labels", topic.labels, dict.fromkeys(values, TEXT), {})
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


_ANNOUNCED = {"id": TEXT, "says": TEXT, "source": TEXT}


def _announced(
    place: Place, data: Mapping[str, Any], values: Mapping[str, tuple[Dated, ...]]
) -> tuple[Announced, ...]:
    """Entries that do not bind. What one would set has to be held already, with a value of the same type."""
    found: list[Announced] = []
    for number, entry in enumerate(data.get("announced", [])):
        where = place / "announced" / number
        if not isinstance(entry, dict):
            raise where.fault("not a table", "Write [[announced]] with id, says and source under it.")
        check_keys(where, entry, _ANNOUNCED, {"from": DAY, "sets": TABLE})
        if entry["id"] in [one.id for one in found]:
            raise (where / "id").fault(f"{entry['id']!r} is used twice", "Give each its own id.")
        sets = {name: _value(where / "sets" / name, value) for name, value in entry.get("sets", {}).items()}
        for name, value in sets.items():
            one_of(where / "sets" / name, name, tuple(values))
            if type(value) is not type(values[name][-1].value):
                cure = "Write one of the type the value has now."
                raise (where / "sets" / name).fault(f"{value!r} is of the wrong type", cure)
        found.append(Announced(entry["id"], entry["says"], entry["source"], entry.get("from"), sets))
    return tuple(found)


def _basis(where: Place, data: Mapping[str, Any]) -> Basis:
    return Basis(one_of(where / "basis", data["basis"], tuple(Basis)))
