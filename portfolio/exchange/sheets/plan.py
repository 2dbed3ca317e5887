"""What taking a spreadsheet in would do, row by row, before anything is stored."""

from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from datetime import date

from portfolio.clock import Moment
from portfolio.exchange.faults import Fault
from portfolio.exchange.sheets.cells import Bad, Cell, plain
from portfolio.exchange.sheets.diff import Change, building_changes, unit_changes
from portfolio.exchange.sheets.homes import Match, home, joined, match
from portfolio.exchange.sheets.known import Known, known_of, register
from portfolio.exchange.sheets.read import read
from portfolio.exchange.sheets.table import Line, Table, table_of
from portfolio.exchange.sheets.values import Said, said
from portfolio.facts import building_facts, facts_of
from portfolio.law import model as law
from portfolio.models import Agency, Building
from portfolio.services.take_in import check

CHUNK = 500
GOOD = ("new", "changed")
Progress = Callable[[int, int], None]


@dataclass(slots=True)
class RowPlan:
    """One row: its number in the sheet, where it starts, which home, what would happen, and why not."""

    line: Line
    where: str
    state: str = "refused"
    ref: str = ""
    title: str = ""
    changes: list[Change] = field(default_factory=list)
    faults: list[Fault] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)
    unit: law.Unit | None = None


@dataclass(slots=True)
class LandlordSaid:
    """Details of a landlord that the portfolio file has no place for."""

    name: str | None
    email: str | None


@dataclass(slots=True)
class Plan:
    table: Table
    rows: list[RowPlan]
    buildings: dict[str, law.Building] = field(default_factory=dict)
    landlords: dict[str, LandlordSaid] = field(default_factory=dict)
    first_rows: dict[str, int] = field(default_factory=dict)
    """Number of the first row on each building."""

    def portfolio(self, states: Iterable[str] = GOOD) -> law.Portfolio:
        """The homes of the rows in these states, with their buildings."""
        units = [row.unit for row in self.rows if row.unit and row.state in states]
        refs = {unit.building for unit in units}
        return law.Portfolio(tuple(b for ref, b in self.buildings.items() if ref in refs), tuple(units))


def plan(
    data: bytes, *, agency: Agency, moment: Moment, progress: Progress = lambda done, total: None
) -> Plan:
    """Read a file and compare it with what is on record. Stores nothing. Raises Unreadable.

    `progress` is told (rows done, rows there are).
    """
    table = table_of(read(data))
    progress(0, len(table.lines))
    rows = [said(line, moment.day) for line in table.lines]
    known = known_of(agency)
    register(known, rows)
    made = Plan(table, [RowPlan(row.line, row.place) for row in rows])
    matches = _matches(rows, made.rows, known)
    for start in range(0, len(rows), CHUNK):
        _facts(made, matches[start : start + CHUNK], start, known, agency)
        progress(min(start + CHUNK, len(rows)), len(rows))
    for row, result in zip(rows, made.rows, strict=True):
        result.faults, result.notes = row.faults + result.faults, row.notes
    _settle(made, known, agency, moment.day)
    return made


def as_written(cells: Iterable[Cell]) -> list[str]:
    """The cells of a row as text, for the download of rows with faults."""
    return [plain(cell.value) for cell in cells]


def _matches(rows: list[Said], results: list[RowPlan], known: Known) -> list[Match | None]:
    """The home of each row; later rows on one home are duplicates, or faults where they say something else."""
    first: dict[str, int] = {}
    found: list[Match | None] = []
    for at, (row, result) in enumerate(zip(rows, results, strict=True)):
        meant = match(row, known)
        result.title = _title(row, meant)
        if meant:
            result.ref = meant.ref
            earlier = first.setdefault(meant.ref, at)
            if earlier != at:
                _repeat(rows[earlier], row, result)
                meant = None
        found.append(meant)
    return found


def _repeat(first: Said, row: Said, result: RowPlan) -> None:
    if row.values == first.values and not row.faults and not first.faults:
        result.state = "duplicate"
        row.notes.append(f"{row.place}: the same as row {first.line.number}, which is used")
        return
    wrong = f"speaks of the same home as row {first.line.number} but says other things"
    row.fault("ref", Bad(wrong, "keep one row for each home"))
    first.notes.append(f"{first.place}: row {row.line.number} speaks of the same home and says other things")


def _title(row: Said, meant: Match | None) -> str:
    parts = (meant.place.label, meant.place.name) if meant else (row.get("label"), row.get("building"))
    return ", ".join(filter(None, parts)) or (meant.ref if meant else row.get("ref") or "")


def _facts(made: Plan, matches: list[Match | None], start: int, known: Known, agency: Agency) -> None:
    """The facts of a chunk of rows beside those on record, with the changes of each home."""
    stored = facts_of([m.held.pk for m in matches if m and m.held])
    refs = {m.building for m in matches if m}
    held = {b.ref: building_facts(b) for b in Building.objects.filter(agency=agency, ref__in=refs)}
    for at, meant in enumerate(matches, start=start):
        if meant is None:
            continue
        result, was = made.rows[at], held.get(meant.building)
        before = stored[meant.held.pk][1] if meant.held else None
        building, unit = home(meant, known, was, before)
        _landlord(made, known, meant.row, unit.landlord_ref)
        if earlier := made.buildings.get(building.ref):
            building = joined(earlier, made.first_rows[building.ref], building, meant.row)
        if meant.row.faults:
            continue
        made.buildings[building.ref] = building
        made.first_rows.setdefault(building.ref, meant.row.line.number)
        result.unit, result.state = unit, "changed" if before else "new"
        result.changes = unit_changes(before, unit)


def _landlord(made: Plan, known: Known, row: Said, ref: str | None) -> None:
    """Name and e-mail of the row's landlord, where they agree with the record and with earlier rows."""
    name, email = row.get("landlord"), row.get("landlord_email")
    if ref is None:
        if email:
            row.notes.append(f"{row.where['landlord_email']}: not used, for no landlord is named")
        return
    earlier = made.landlords.get(ref) or LandlordSaid(None, None)
    held = known.landlords.get(ref, ("", ""))[1] or earlier.email
    if email and held and held.casefold() != email:
        row.fault(
            "landlord_email",
            Bad(f"this landlord's e-mail is already {held}", "correct it here, or on the landlord"),
        )
    elif not row.faults:
        made.landlords[ref] = LandlordSaid(earlier.name or name, earlier.email or email)


def _settle(made: Plan, known: Known, agency: Agency, day: date) -> None:
    """The state of each row once every building is known, and the conflicts with what is on record."""
    held = {
        b.ref: building_facts(b) for b in Building.objects.filter(agency=agency) if b.ref in made.buildings
    }
    changed = {ref: building_changes(held.get(ref), building) for ref, building in made.buildings.items()}
    mailed = {
        ref
        for ref, said in made.landlords.items()
        if said.email and not known.landlords.get(ref, ("", ""))[1]
    }
    for row in made.rows:
        if row.unit:
            row.changes += changed[row.unit.building]
            if row.unit.landlord_ref in mailed:
                email = made.landlords[row.unit.landlord_ref or ""].email or ""
                row.changes.append(Change("landlord's e-mail", "not recorded", email))
            if row.state == "changed" and not row.changes:
                row.state = "same"
    taken = [row for row in made.rows if row.unit and row.state in GOOD]
    for fault in check(made.portfolio(), agency=agency, day=day):
        add_conflict(taken, fault)


def add_conflict(taken: list[RowPlan], fault: Fault) -> None:
    """A fault with the path of a portfolio file, put on the row that its unit came from."""
    row = taken[int(fault.path.split("/")[2])]
    _, _, _, *inside = fault.path.split("/")
    field = f" ({inside[-1]})" if inside else ""
    row.faults.append(Fault(row.where, f"{fault.wrong}{field}", fault.cure))
    row.state = "refused"
    row.changes = []
