"""The answer about a whole portfolio on a day: as JSON values, and as a plain table for people."""

import textwrap
from collections.abc import Iterable, Iterator, Mapping, Sequence
from datetime import date
from typing import Any

from portfolio.exchange.faults import Fault, Faults, visible
from portfolio.exchange.kinds import nearest, shown
from portfolio.law import model as law
from portfolio.law.evaluate import as_json, evaluate
from portfolio.law.lawbook import Lawbook
from portfolio.law.variants import NotAssumable, announced, assuming, gained

WIDTH = 100
BASIS = {
    "text": "words of the law",
    "interpretation": "a reading of the law",
    "memory": "from memory, to be checked",
    "house_policy": "house policy",
}


def answer(
    book: Lawbook,
    portfolio: law.Portfolio,
    on: date,
    refs: Sequence[str] = (),
    assume: Mapping[str, date | None] | None = None,
) -> dict[str, Any]:
    """May each home be let, may it be sold? Only the named ones when `refs` are given.

    `assume`: announced law taken as in force, by its id, each from the day given or else the day announced. The
    answer then says so, and which homes are barred by it alone.

    Raises `Faults` for a ref that is not in the portfolio, and for law that cannot be assumed.
    """
    buildings = {building.ref: building for building in portfolio.buildings}
    units = _chosen(portfolio.units, refs) if refs else portfolio.units
    packs = {pack.name: pack.version for pack in book.packs}
    if not assume:
        found = [evaluate(book, buildings[unit.building], unit, on) for unit in units]
        return {"on": on.isoformat(), "packs": packs, "units": [as_json(one) for one in found]}
    supposed, days = _supposed(book, assume)
    said, barred = [], []
    for unit in units:
        standing = evaluate(supposed, buildings[unit.building], unit, on)
        said.append(as_json(standing))
        if gained(evaluate(book, buildings[unit.building], unit, on), standing):
            barred.append(unit.ref)
    packs["assumed"] = ", ".join(f"{name} from {day}" for name, day in days.items())
    return {"on": on.isoformat(), "packs": packs, "assumed": days, "barred_by_it": barred, "units": said}


def _supposed(book: Lawbook, assume: Mapping[str, date | None]) -> tuple[Lawbook, dict[str, str]]:
    """The book with the announced law in it, and the day each is taken to begin."""
    try:
        supposed = assuming(book, assume)
    except NotAssumable as error:
        raise Faults([Fault("--assume", error.wrong, error.cure)]) from error
    known = announced(book)
    starts = {name: wish or known[name][1].start for name, wish in sorted(assume.items())}
    return supposed, {name: str(day) for name, day in starts.items()}


def _chosen(units: Iterable[law.Unit], refs: Sequence[str]) -> list[law.Unit]:
    known = {unit.ref: unit for unit in units}
    faults = []
    for ref in (ref for ref in refs if ref not in known):
        near = nearest(ref, known) if len(known) <= 1000 else None
        cure = f"did you mean {shown(near)}?" if near else "write the ref of a home in the file"
        faults.append(Fault("--unit", f"no home has the ref {shown(ref)}", cure))
    if faults:
        raise Faults(faults)
    return [known[ref] for ref in dict.fromkeys(refs)]


def table(said: dict[str, Any]) -> str:
    """The answer in words: a row for each home, then what stands in the way, its cure and its source."""
    packs = ", ".join(f"{name} {version}" for name, version in said["packs"].items())
    lines = [*textwrap.wrap(f"On {said['on']}, by the law packs {packs}.", WIDTH), *_assumed(said), ""]
    lines += _row("Home", "May be let", "May be sold", "First reason")
    lines += _row("-" * 18, "-" * 17, "-" * 17, "-" * 42)
    for unit in said["units"]:
        bars = [*unit["let"]["bars"], *unit["sale"]["bars"]]
        first = bars[0]["says"] if bars else ""
        lines += _row(unit["ref"], _may(unit["let"]), _may(unit["sale"]), first)
    if not said["units"]:
        lines.append("No homes.")
    for unit in said["units"]:
        lines += _reasons(unit)
    return "\n".join(lines) + "\n"


def _assumed(said: dict[str, Any]) -> Iterator[str]:
    """What was taken to be in force though it is not, and whom it alone bars."""
    if "assumed" not in said:
        return
    names = ", ".join(f"{name} from {day}" for name, day in said["assumed"].items())
    refs = said["barred_by_it"]
    listed = f": {', '.join(refs)}" if refs else ""
    yield from textwrap.wrap(f"Announced and not in force, but assumed to be: {names}.", WIDTH)
    says = f"Would be barred by it: {len(refs)} of {len(said['units'])} homes{listed}"
    yield from textwrap.wrap(visible(says), WIDTH)


def _row(*cells: str) -> Iterator[str]:
    """One row of the table; cells too long for their column go on below."""
    widths = (18, 17, 17, 42)
    wrapped = [textwrap.wrap(visible(cell), width) for cell, width in zip(cells, widths, strict=True)]
    for line in range(max(map(len, wrapped))):
        parts = [cell[line] if line < len(cell) else "" for cell in wrapped]
        yield "  ".join(part.ljust(width) for part, width in zip(parts, widths, strict=True)).rstrip()


def _may(one: dict[str, Any]) -> str:
    if not one["clear"]:
        return "no"
    return f"until {one['until']}" if one["until"] else "yes"


def _reasons(unit: dict[str, Any]) -> Iterator[str]:
    """Bars of the let, of the sale where it has others, then warnings; each with its cure and source."""
    parts = (
        ("stops a let", unit["let"]["bars"]),
        ("stops a sale", unit["sale"]["bars"]),
        ("to be put right, though it stops neither", [*unit["let"]["warnings"], *unit["sale"]["warnings"]]),
    )
    for title, reasons in parts:
        if reasons:
            yield ""
            yield f"{visible(unit['ref'])}: {title}"
        for reason in _once(reasons):
            source = f"{reason['source']} ({BASIS[reason['basis']]})"
            yield from _wrapped("- ", f"{reason['says']}")
            yield from _wrapped("  Cure: ", reason["cure"])
            yield from _wrapped("  Source: ", source)


def _once(reasons: Iterable[dict[str, Any]]) -> Iterator[dict[str, Any]]:
    seen: list[dict[str, Any]] = []
    for reason in reasons:
        if reason not in seen:
            seen.append(reason)
            yield reason


def _wrapped(head: str, words: str) -> list[str]:
    indent = "  " + " " * len(head)
    return textwrap.wrap(visible(words), WIDTH, initial_indent="  " + head, subsequent_indent=indent)
