"""The certificates and licences a row speaks of, each with a ref that the same paper gets every time."""

from collections.abc import Iterator, Sequence
from datetime import date
from typing import Any

from portfolio.exchange.sheets.cells import Bad
from portfolio.exchange.sheets.contents import checks
from portfolio.exchange.sheets.headings import columns
from portfolio.exchange.sheets.values import Said
from portfolio.law import model as law

DAYS = ("inspected", "registered", "issued", "applied", "until")
STEMS = {"gas_safety_record": "gas"}


def papers(
    row: Said, stored: law.Unit | None, appliances: Sequence[law.Appliance], rooms: Sequence[law.Room]
) -> tuple[law.Certificate, ...] | None:
    """None when the row speaks of no paper at all."""
    held = (stored.certificates if stored else None) or ()
    found: dict[str, law.Certificate] = {}
    for group, kind in _groups(row):
        values = _values(row, group)
        if not _whole(row, group, values):
            continue
        if kind == "gas_safety_record":
            values["appliances"] = _covered(row, group, appliances, rooms)
        paper = law.Certificate(_ref(kind, values, held), kind, **values)
        if paper.ref in found:
            row.fault(
                f"{group}.inspected", Bad("is the day of the last check too", "leave one of the two empty")
            )
        found[paper.ref] = paper
    return tuple(found.values()) or None


def _groups(row: Said) -> Iterator[tuple[str, str]]:
    """Groups of columns with something recorded, in the template's order, with the kind of paper each tells of."""
    told = {key.partition(".")[0] for key in row.values if "." in key}
    for group in dict.fromkeys(key.partition(".")[0] for key in columns() if "." in key):
        if group in told:
            yield group, "gas_safety_record" if group == "gas_previous" else group


def _values(row: Said, group: str) -> dict[str, Any]:
    keys = {key: key.partition(".")[2] for key in row.values if key.startswith(f"{group}.")}
    return {name: row.values[key] for key, name in keys.items() if name != "result"}


def _whole(row: Said, group: str, values: dict[str, Any]) -> bool:
    """Is there enough to keep? Days must be in order; a paper without a day or a number is only named."""
    where = next(row.where[key] for key in row.values if key.startswith(f"{group}."))
    if not values.get("number") and not any(values.get(name) for name in DAYS):
        if not row.faults:
            row.notes.append(f"{where}: not recorded, for no day of this paper is given")
        return False
    until = values.get("until")
    for name in ("inspected", "registered", "issued"):
        if until and values.get(name) and until < values[name]:
            row.fault(
                f"{group}.until",
                Bad(f"the expiry lies before {row.where[f'{group}.{name}']}", "correct one of the two days"),
            )
            return False
    if until and not any(values.get(name) for name in DAYS[:3]):
        row.notes.append(f"{where}: kept with its expiry alone; the day it was made stays not recorded")
    return True


def _covered(
    row: Said, group: str, appliances: Sequence[law.Appliance], rooms: Sequence[law.Room]
) -> tuple[law.ApplianceCheck, ...] | None:
    """Which appliances a gas record covers. The check before is, by its heading, of the same ones."""
    found = checks(row, group, appliances, rooms)
    if found is None and group == "gas_previous" and f"{group}.result" not in row.values:
        last = checks(row, "gas_safety_record", appliances, rooms)
        found = tuple(law.ApplianceCheck(check.appliance) for check in last) if last else None
    if found is None and f"{group}.inspected" in row.where:
        row.notes.append(
            f"{row.where[f'{group}.inspected']}: which appliances it covers, and their results, stay not recorded"
        )
    return found


def _ref(kind: str, values: dict[str, Any], held: Sequence[law.Certificate]) -> str:
    """The ref of the same paper on record, or one made of its kind and day."""
    same = next((paper for paper in held if paper.kind == kind and _same(paper, values)), None)
    if same:
        return same.ref
    stem = STEMS.get(kind, kind.replace("_", "-"))
    day: date | None = next((values[name] for name in DAYS if values.get(name)), None)
    if day is None:
        return f"{stem}-{values['number']}"[:100]
    return f"{stem}-{day}" if any(values.get(name) for name in DAYS[:4]) else f"{stem}-until-{day}"


def _same(paper: law.Certificate, values: dict[str, Any]) -> bool:
    """The same number, or the same day of the same sort with no other day against it."""
    if paper.number and values.get("number"):
        return paper.number == values["number"]
    both = [
        (getattr(paper, name), values[name]) for name in DAYS if getattr(paper, name) and values.get(name)
    ]
    return bool(both) and all(old == new for old, new in both)
