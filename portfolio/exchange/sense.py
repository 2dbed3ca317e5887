"""What no schema can say: refs used once and pointing somewhere, and days in their order.

Works on the JSON as it was read, whatever its faults of shape, so that one reading lists everything wrong.

A ref into a list of its home that is not recorded is let pass here: nobody can say that it points nowhere. The
law then finds the list missing, and taking the file in asks whether the list already held has the ref.
"""

from collections.abc import Iterator, Mapping
from typing import Any

from portfolio.exchange.faults import Fault, child
from portfolio.exchange.kinds import JsonObject, Kind, ListOf, PointsTo, as_day, listed, nearest, shown
from portfolio.exchange.records import Record

Pointer = tuple[PointsTo, str, str, tuple[JsonObject, ...]]
"""Its kind, the ref it holds, its place, and the objects around it, outermost first."""
Refs = frozenset[str]
MOST_TO_SUGGEST = 500


def faults_of(record: Record, tree: Any) -> Iterator[Fault]:
    """Every fault of sense in a tree that should be such a record."""
    yield from _rows(record, tree, "")
    known: dict[tuple[int, str], Refs | None] = {}
    for kind, ref, place, around in _pointers(record, tree, "", ()):
        # The file stands outermost, then the home; a certificate's own "appliances" are checks, not appliances.
        holder = around[0] if kind.of_file else around[1]
        lists = {}
        for name in kind.lists:
            if (id(holder), name) not in known:
                known[id(holder), name] = _refs_in(holder.get(name))
            lists[name] = known[id(holder), name]
        if kind.of_file or None not in lists.values():
            yield from _absent(ref, place, {name: refs or frozenset() for name, refs in lists.items()})


def points_nowhere(record: Record, tree: JsonObject, path: str, held: Mapping[str, Refs]) -> Iterator[Fault]:
    """Refs of one home, at `path`, that are in none of the lists held of it."""
    for kind, ref, place, _ in _pointers(record, tree, path, ()):
        if not kind.of_file:
            yield from _absent(ref, place, {name: held.get(name, frozenset()) for name in kind.lists})


def _rows(kind: Kind, value: Any, path: str) -> Iterator[Fault]:
    if isinstance(kind, Record) and isinstance(value, dict):
        yield from _order(kind, value, path)
        for field in kind.fields:
            if isinstance(inner := value.get(field.key), dict | list):
                yield from _rows(field.kind, inner, child(path, field.key))
    elif isinstance(kind, ListOf) and isinstance(kind.item, Record) and isinstance(value, list):
        yield from _repeats(kind.item, value, path)
        for i, item in enumerate(value):
            yield from _rows(kind.item, item, child(path, i))


def _pointers(kind: Kind, value: Any, path: str, around: tuple[JsonObject, ...]) -> Iterator[Pointer]:
    if isinstance(kind, Record) and isinstance(value, dict):
        for field in kind.fields:
            if isinstance(field.kind, PointsTo | Record | ListOf) and field.key in value:
                inner, place = value[field.key], child(path, field.key)
                yield from _pointers(field.kind, inner, place, (*around, value))
    elif isinstance(kind, ListOf) and isinstance(kind.item, Record) and isinstance(value, list):
        for i, item in enumerate(value):
            yield from _pointers(kind.item, item, child(path, i), around)
    elif isinstance(kind, PointsTo) and isinstance(value, str):
        yield kind, value, path, around


def _refs_in(rows: Any) -> Refs | None:
    """The refs of a list's rows; None when it is not recorded (or no list: a fault of shape)."""
    if not isinstance(rows, list):
        return None
    named = [row.get("ref") for row in rows if isinstance(row, dict)]
    return frozenset(ref for ref in named if isinstance(ref, str))


def _absent(ref: str, path: str, lists: Mapping[str, Refs]) -> Iterator[Fault]:
    if any(ref in refs for refs in lists.values()):
        return
    where = listed(lists)
    # Looking through very many refs, for each of very many faults, would take minutes.
    few = sum(map(len, lists.values())) <= MOST_TO_SUGGEST
    known = sorted(set().union(*lists.values())) if few else []
    near = nearest(ref, known)
    if not few:
        cure = f"add it to {where}, or write a ref that stands there"
    elif near:
        cure = f"did you mean {shown(near)}?"
    elif known:
        cure = f"add it to {where}, or write one of: {listed(known, 10)}"
    else:
        cure = f"add it to {where}; nothing is listed there yet"
    yield Fault(path, f"{shown(ref)} points nowhere", cure)


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
