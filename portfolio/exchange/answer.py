"""The answer about a whole portfolio on a day: as JSON values, and as a plain table for people."""

import textwrap
from collections.abc import Iterable, Iterator, Sequence
from datetime import date
from typing import Any

from portfolio.exchange.faults import Fault, Faults, visible
from portfolio.exchange.kinds import nearest, shown
from portfolio.law import model as law
from portfolio.law.evaluate import as_json, evaluate
from portfolio.law.lawbook import Lawbook

WIDTH = 100
BASIS = {
    "text": "words of the law",
    "interpretation": "a reading of the law",
    "memory": "from memory, to be checked",
    "house_policy": "house policy",
}


def answer(book: Lawbook, portfolio: law.Portfolio, on: date, refs: Sequence[str] = ()) -> dict[str, Any]:
    """May each home be let, may it be sold? Only the named ones when `refs` are given.

    Raises `Faults` for a ref that is not in the portfolio.
    """
    buildings = {building.ref: building for building in portfolio.buildings}
    units = _chosen(portfolio.units, refs) if refs else portfolio.units
    return {
        "on": on.isoformat(),
        "packs": {pack.name: pack.version for pack in book.packs},
        "units": [as_json(evaluate(book, buildings[unit.building], unit, on)) for unit in units],
    }


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
    lines = [*textwrap.wrap(f"On {said['on']}, by the law packs {packs}.", WIDTH), ""]
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
