"""What no schema can say: refs used once and pointing somewhere, and days in their order.

Works on the JSON as it was read, whatever its faults of shape, so that one reading lists everything wrong.
"""

from collections.abc import Iterator
from typing import Any

from portfolio.exchange.faults import Fault, child
from portfolio.exchange.kinds import JsonObject, Kind, ListOf, PointsTo, as_day, listed, nearest, shown
from portfolio.exchange.records import Record


def faults_of(record: Record, tree: Any) -> Iterator[Fault]:
    """Every fault of sense in a tree that should be such a record."""
    yield from _Reading().check(record, tree, "", ())


class _Reading:
    """One pass over one tree; remembers the refs of each list, which many rows may point into."""

    def __init__(self) -> None:
        self.refs: dict[tuple[int, str], frozenset[str]] = {}

    def check(self, kind: Kind, value: Any, path: str, around: tuple[JsonObject, ...]) -> Iterator[Fault]:
        """`around`: the objects that enclose the value, outermost first."""
        if isinstance(kind, Record) and isinstance(value, dict):
            yield from _order(kind, value, path)
            for field in kind.fields:
                if field.key in value:
                    inner = child(path, field.key)
                    yield from self.check(field.kind, value[field.key], inner, (*around, value))
        elif isinstance(kind, ListOf) and isinstance(kind.item, Record) and isinstance(value, list):
            yield from _repeats(kind.item, value, path)
            for i, item in enumerate(value):
                yield from self.check(kind.item, item, child(path, i), around)
        elif isinstance(kind, PointsTo) and isinstance(value, str):
            yield from self.points(kind, value, path, around)

    def points(self, kind: PointsTo, ref: str, path: str, around: tuple[JsonObject, ...]) -> Iterator[Fault]:
        # A check's own object is inside a certificate, whose "appliances" are checks and not appliances.
        homes = around[:2]
        if any(ref in self.refs_in(home, name) for home in homes for name in kind.lists):
            return
        known = sorted({r for home in homes for name in kind.lists for r in self.refs_in(home, name)})
        where = listed(kind.lists)
        near = nearest(ref, known) if len(known) <= 1000 else None
        if near:
            cure = f"did you mean {shown(near)}?"
        elif known:
            cure = f"add it to {where}, or write one of: {listed(known, 10)}"
        else:
            cure = f"add it to {where}; nothing is listed there yet"
        yield Fault(path, f"{shown(ref)} points nowhere", cure)

    def refs_in(self, holder: JsonObject, name: str) -> frozenset[str]:
        key = (id(holder), name)
        if key not in self.refs:
            rows = holder.get(name)
            named = (
                [row.get("ref") for row in rows if isinstance(row, dict)] if isinstance(rows, list) else []
            )
            self.refs[key] = frozenset(ref for ref in named if isinstance(ref, str))
        return self.refs[key]


def _repeats(item: Record, rows: list[Any], path: str) -> Iterator[Fault]:
    """Rows that name what an earlier row of the list names already."""
    if item.same is None:
        return
    first: dict[str, int] = {}
    for i, row in enumerate(rows):
        name = row.get(item.same) if isinstance(row, dict) else None
        if not isinstance(name, str):
            continue
        if name in first:
            wrong = f"{shown(name)} stands already at {child(path, first[name])}"
            cure = "give it a name of its own, or take one of the two out"
            yield Fault(child(child(path, i), item.same), wrong, cure)
        first.setdefault(name, i)


def _order(record: Record, value: JsonObject, path: str) -> Iterator[Fault]:
    for first, then in record.in_order:
        start, end = as_day(value.get(first)), as_day(value.get(then))
        if start and end and end < start:
            wrong = f'{end} lies before "{first}", {start}'
            yield Fault(child(path, then), wrong, "correct whichever of the two days is wrong")
