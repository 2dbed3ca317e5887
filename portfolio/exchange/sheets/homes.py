"""A row as the law's facts: one home and its building, matched to what is on record."""

from collections.abc import Mapping
from dataclasses import dataclass, fields, replace
from typing import Any

from portfolio.exchange.faults import Fault
from portfolio.exchange.sheets.cells import Bad, short
from portfolio.exchange.sheets.contents import contents
from portfolio.exchange.sheets.known import Held, HeldUnit, Known, Place, key_of, label_key, place_of, slug
from portfolio.exchange.sheets.papers import papers
from portfolio.exchange.sheets.values import Said
from portfolio.law import model as law

BUILDING_FACTS = (
    "nation", "year_built", "storeys", "top_storey_height_m", "self_contained_units", "purpose_built",
    "common_parts", "passenger_lift", "lift_used_at_work", "simultaneous_evacuation",
)  # fmt: skip


@dataclass(slots=True)
class Match:
    """Which home a row means: its ref, its building's, and the home on record if there is one."""

    row: Said
    place: Place
    building: str
    ref: str
    held: HeldUnit | None


def match(row: Said, known: Known) -> Match | None:
    """Find or name the home; None, with a fault on the row, when it cannot be told."""
    try:
        return _match(row, place_of(row), known)
    except Bad as bad:
        key = next(
            (key for key in ("building", "address", "address1", "ref", "label") if key in row.where), ""
        )
        row.fault(key, bad)
        return None


def _match(row: Said, place: Place, known: Known) -> Match:
    ref = row.get("ref")
    held = known.units.get(ref) if ref else None
    if held:
        _agrees(row, place, known.buildings[held.building], held)
        return Match(row, place, held.building, held.ref, held)
    building = known.building_for(row, place)
    if building is None:
        raise Bad("names no building and no address", "fill the building or the address")
    there = known.by_label.get((building.ref, label_key(place.label)), [])
    if len(there) > 1:
        raise Bad(f"{len(there)} homes on record have this building and label", "give the home's ref")
    if ref and there:
        raise Bad(f"this home is on record as {short(there[0].ref)}", "use that ref, or correct the address")
    if there:
        return Match(row, place, building.ref, there[0].ref, there[0])
    return Match(row, place, building.ref, ref or _new_ref(building, place, known), None)


def _new_ref(building: Held, place: Place, known: Known) -> str:
    ref = slug(building.ref, label_key(place.label))
    return ref if ref not in known.units else slug(building.ref, "home", label_key(place.label))


def _agrees(row: Said, place: Place, building: Held, held: HeldUnit) -> None:
    """A ref on record with another building or flat beside it is a mistake somewhere. Raises Bad."""
    told = row.get("building_ref")
    if told and told != building.ref:
        raise Bad(
            f"{short(held.ref)} is on record in building {short(building.ref)}",
            "correct the ref or the building",
        )
    names = {key_of(text) for text in (place.name, *(place.address or ())) if text}
    if names and building.names and not names & building.names:
        raise Bad(f"{short(held.ref)} is on record at another address", "correct the ref or the address")
    if place.label and held.label and label_key(place.label) != label_key(held.label):
        raise Bad(f"{short(held.ref)} is on record as {short(held.label)}", "correct the ref or the flat")


def home(
    found: Match, known: Known, building: law.Building | None, was: law.Unit | None
) -> tuple[law.Building, law.Unit]:
    """The facts of a row, beside the building and the unit on record. Faults met on the way are added to it."""
    row = found.row
    held = contents(row, was)
    appliances = held["appliances"] or (was.appliances if was else None) or ()
    rooms = held["rooms"] or (was.rooms if was else None) or ()
    unit = law.Unit(
        ref=found.ref,
        building=found.building,
        label=found.place.label if not was or label_key(found.place.label) != label_key(was.label) else None,
        dwelling=row.get("dwelling"),
        landlord=row.get("landlord_kind"),
        landlord_ref=_landlord(row, known),
        letting=law.Letting(row.get("letting"), row.get("term_years")),
        occupancy=law.Occupancy(row.get("persons"), row.get("households"), row.get("shares_amenities")),
        hmo=law.Hmo(row.get("additional_licensing_area"), row.get("selective_licensing_area")),
        tenancies=_tenancies(row, was),
        marketing=_marketing(row),
        acquired_with_tenant=row.get("acquired_with_tenant"),
        landlord_electrical_appliances=row.get("landlord_electrical_appliances"),
        main_board_rcd_30ma=row.get("main_board_rcd_30ma"),
        certificates=papers(row, was, appliances, rooms),
        defects=_defects(row, was),
        **held,
    )
    return _building(found, building), unit


def _building(found: Match, was: law.Building | None) -> law.Building:
    """Names and addresses that only differ in case or punctuation from the record leave it as it is."""
    place, row = found.place, found.row
    name, address = place.name, place.address
    if was:
        told = {key_of(text) for text in (was.name, *(was.address or ())) if text}
        name = None if key_of(name) in told else name
        address = None if address and all(key_of(line) in told for line in address) else address
    facts: Mapping[str, Any] = {key: row.get(key) for key in BUILDING_FACTS}
    return law.Building(found.building, name, address=address, postcode=place.postcode, **facts)


def _landlord(row: Said, known: Known) -> str | None:
    try:
        return known.landlord_ref(row)
    except Bad as bad:
        row.fault("landlord", bad)
        return None


def _defects(row: Said, was: law.Unit | None) -> tuple[law.Defect, ...] | None:
    """That none is open may be said only where none on record is."""
    is_open = [one for one in (was.defects if was else None) or () if one.confirmed is None]
    if row.get("defects") == () and is_open:
        wrong = f"says that no defect is open, but {len(is_open)} on record"
        row.fault("defects", Bad(wrong, "have them confirmed as put right, or leave the cell empty"))
    return row.get("defects")


def _tenancies(row: Said, was: law.Unit | None) -> tuple[law.Tenancy, ...] | None:
    starts, granted, ends = (row.get(key) for key in ("tenancy_start", "tenancy_granted", "tenancy_end"))
    if starts == ():
        if any(one.ends is None for one in (was.tenancies if was else None) or ()):
            note = "a tenancy without an end is on record; end it on the page of the home"
            row.notes.append(f"{row.where['tenancy_start']}: {note}")
        return ()
    if not (starts or granted or ends):
        return None
    if starts and ends and ends < starts:
        row.fault(
            "tenancy_end",
            Bad(
                f"the tenancy ends before it starts ({row.where['tenancy_start']})", "correct one of the days"
            ),
        )
        return None
    held = (was.tenancies if was else None) or ()
    same = next(
        (
            one
            for one in held
            if (starts and one.starts == starts) or (not starts and ends and one.ends == ends)
        ),
        None,
    )
    ref = same.ref if same else f"tenancy-{starts or granted or f'until-{ends}'}"
    return (law.Tenancy(ref, granted, starts, ends),)


def _marketing(row: Said) -> tuple[law.Marketing, ...] | None:
    days = (("let", row.get("let_from")), ("sale", row.get("sale_from")))
    return tuple(law.Marketing(purpose, day) for purpose, day in days if day) or None


def joined(first: law.Building, first_at: int, then: law.Building, row: Said) -> law.Building:
    """Two rows on one building as one: what either records. Facts that contradict are faults of the later row."""
    values: dict[str, Any] = {}
    for f in fields(law.Building):
        old, new = getattr(first, f.name), getattr(then, f.name)
        values[f.name] = new if old is None else old
        if old is None or new is None or old == new:
            continue
        if f.name in ("name", "address"):
            row.notes.append(
                f"{row.place}: the {f.name} is written differently in row {first_at}; that one is used"
            )
            continue
        place = row.where.get(f.name, row.place)
        wrong = f"{new} here, but {old} in row {first_at} for the same building"
        row.faults.append(Fault(place, wrong, "make the two rows agree"))
    return replace(first, **values)
