"""Portfolio files for tests: one that uses every field, any number of valid ones, and spoiled ones."""

import copy
import json
from datetime import date
from pathlib import Path
from typing import Any

from hypothesis import strategies as st
from hypothesis.strategies import DrawFn, SearchStrategy

from portfolio.exchange import kinds, table
from portfolio.exchange.kinds import JsonObject, ListOf, PointsTo
from portfolio.exchange.records import Record
from portfolio.law import model as law

EVERYTHING: JsonObject = json.loads(Path(__file__).with_name("everything.json").read_text(encoding="utf-8"))
"""Every field of every record is used in it at least once; a test sees to that."""

SIMPLE: dict[type, SearchStrategy[Any]] = {
    kinds.YesNo: st.booleans(),
    kinds.Day: st.dates(min_value=date(1900, 1, 1), max_value=date(2200, 12, 31)).map(str),
    kinds.TimeOfDay: st.times().map(lambda at: f"{at:%H:%M}"),
}
NASTY: list[Any] = [
    None, True, False, 0, 1, -1, 2.0, 1.5, 10**30, 1e300, "", " ", "x", "x\n", "C1", "ID", "let", "2026-02-30",
    "2026-11-25", "2026-11-25\n", "20261125", "1899-12-31", "2200-12-31", "2201-01-01", "٢٠٢٦-11-25", "\x00", "\ud800",
    "09:30", "24:00", "9:30", "09:30\n",
    "a" * 101, "a" * 301, [], {}, [None], [[]], {"ref": "x"}, ["2026-11-25"],
]  # fmt: skip


@st.composite
def trees(draw: DrawFn) -> JsonObject:
    """A valid file, as JSON values: any fields, any of them null, refs that hold, days in order."""
    buildings = draw(_rows(table.BUILDING, {}, 1, 3))
    known = {"buildings": [building["ref"] for building in buildings]}
    return {"format": table.FORMAT, "buildings": buildings, "units": draw(_rows(table.UNIT, known, 0, 2))}


@st.composite
def _rows(
    draw: DrawFn, record: Record, known: dict[str, list[str]], least: int, most: int
) -> list[JsonObject]:
    count = draw(st.integers(least, most))
    rows = [draw(_record(record, known)) for _ in range(count)]
    if record.same == "ref":
        for i, row in enumerate(rows):
            row["ref"] = f"{record.name} {i} é"
        return rows
    return rows if record.same is None else list({row[record.same]: row for row in rows}.values())


@st.composite
def _record(draw: DrawFn, record: Record, known: dict[str, list[str]]) -> JsonObject:
    row: JsonObject = {}
    known = dict(known)
    for field in record.fields:
        if field.required or draw(st.integers(0, 3)):
            row[field.key] = draw(_value(field.kind, known))
            if isinstance(field.kind, ListOf) and isinstance(row[field.key], list):
                known[field.key] = [
                    item["ref"] for item in row[field.key] if isinstance(item, dict) and "ref" in item
                ]
        elif draw(st.booleans()):
            row[field.key] = None
    if record is table.DEFECT:
        row["code"] = draw(st.sampled_from(law.CODES[row["scheme"]]))
    for first, then in record.in_order:
        if row.get(first) and row.get(then) and row[then] < row[first]:
            del row[then]
    return row


def _value(kind: kinds.Kind, known: dict[str, list[str]]) -> SearchStrategy[Any]:
    if isinstance(kind, PointsTo):
        refs = [ref for name in kind.lists for ref in known.get(name, [])]
        return st.sampled_from(refs) if refs else st.none()
    if isinstance(kind, kinds.Text):
        characters = st.characters(exclude_categories=["Cs", "Cc"])
        return st.text(characters, min_size=1, max_size=min(kind.longest, 20)).map(
            lambda words: f"a{words}"[:12]
        )
    if isinstance(kind, kinds.Number):
        whole = st.integers(kind.least, kind.most)
        return whole if kind.whole else whole | st.floats(kind.least, kind.most, allow_nan=False)
    if isinstance(kind, kinds.OneOf):
        return st.sampled_from(kind.words)
    if isinstance(kind, Record):
        return _record(kind, known)
    if isinstance(kind, ListOf):
        if isinstance(kind.item, Record):
            return _listed(kind.item, known)
        return st.lists(_value(kind.item, known), max_size=3)
    return SIMPLE[type(kind)]


def _listed(record: Record, known: dict[str, list[str]]) -> SearchStrategy[list[JsonObject]]:
    needs = [field.kind for field in record.fields if field.required and isinstance(field.kind, PointsTo)]
    if any(not known.get(name) for kind in needs for name in kind.lists):
        return st.just([])
    return _rows(record, known, 0, 3)


def places(tree: Any, path: tuple[Any, ...] = ()) -> list[tuple[Any, ...]]:
    """The way to everything inside the tree."""
    found = [path] if path else []
    members = tree.items() if isinstance(tree, dict) else enumerate(tree) if isinstance(tree, list) else ()
    for key, value in members:
        found += places(value, (*path, key))
    return found


def at(tree: Any, path: tuple[Any, ...]) -> Any:
    for key in path:
        tree = tree[key]
    return tree


@st.composite
def spoiled(draw: DrawFn) -> JsonObject:
    """A file with one to three things changed: most are wrong now, some still right."""
    tree = copy.deepcopy(draw(st.just(EVERYTHING) | trees()))
    for _ in range(draw(st.integers(1, 3))):
        _spoil(draw, tree)
    return tree


def _spoil(draw: DrawFn, tree: JsonObject) -> None:
    ways = places(tree)
    if not ways:
        return
    *path, key = draw(st.sampled_from(ways))
    holder = at(tree, tuple(path))
    how = draw(st.sampled_from(["drop", "nasty", "swap", "new key", "repeat"]))
    if how == "drop":
        del holder[key]
    elif how == "nasty":
        holder[key] = draw(st.sampled_from(NASTY))
    elif how == "swap":
        holder[key] = copy.deepcopy(at(tree, draw(st.sampled_from(ways))))
    elif how == "new key" and isinstance(holder, dict):
        holder[draw(st.sampled_from(["lable", "ref", "a/b~c", "", "codes"]))] = draw(st.sampled_from(NASTY))
    elif isinstance(holder, list):
        holder.append(copy.deepcopy(holder[key]))


def resolve(tree: Any, pointer: str) -> Any:
    """What a JSON Pointer points at; fails when it points at nothing."""
    for part in pointer.split("/")[1:]:
        key = part.replace("~1", "/").replace("~0", "~")
        tree = tree[int(key)] if isinstance(tree, list) else tree[key]
    return tree


def compact(value: Any) -> Any:
    """The same file without what is not recorded: nulls, and objects that hold nothing else."""
    if isinstance(value, list):
        return [compact(item) for item in value]
    if not isinstance(value, dict):
        return value
    inner = {key: compact(item) for key, item in value.items() if item is not None}
    return {key: item for key, item in inner.items() if item != {}}
