"""Invented English homes in any number, for timing and for trying things out.

The same number gives the same home, whatever was asked before. About half are in order; the others lack a
paper, have one that lapsed or failed, a dangerous defect, a missing alarm or something nobody recorded.
"""

from collections.abc import Iterator
from dataclasses import replace
from datetime import date, timedelta
from random import Random

from portfolio.law import model as law

STREETS = ("Weir", "Tannery", "Lamp", "Cooper", "Mill", "Orchard", "Chapel", "Kiln")
ROOM_USES = ("hall", "living", "kitchen", "bedroom", "bathroom")
Home = tuple[law.Building, law.Unit]


def homes(count: int, *, around: date, first: int = 0) -> Iterator[Home]:
    """`count` homes from number `first` on, each in a building of its own, with papers around a day."""
    for number in range(first, first + count):
        yield home(number, around=around)


def portfolio(count: int, *, around: date) -> law.Portfolio:
    """The same homes as one portfolio."""
    found = list(homes(count, around=around))
    return law.Portfolio(tuple(building for building, _ in found), tuple(unit for _, unit in found))


def home(number: int, *, around: date) -> Home:
    """Home number so-and-so: in order, and in about every second one something amiss."""
    chance = Random(number)  # noqa: S311  # invented homes, not secrets
    building = _building(chance, number)
    unit = _unit(chance, number, building, around)
    return building, _spoil(chance, unit, around) if chance.random() < 0.5 else unit


def _building(chance: Random, number: int) -> law.Building:
    flats = chance.choice((1, 1, 6, 12))
    street = f"{chance.randint(1, 199)} {chance.choice(STREETS)} Lane"
    return law.Building(
        ref=f"B{number}",
        name=street,
        nation="england",
        address=(street, "Oxcombe"),
        postcode="ZZ1 1ZZ",
        year_built=chance.randint(1850, 2024),
        storeys=2 if flats == 1 else 4,
        top_storey_height_m=2.7 if flats == 1 else 8.4,
        self_contained_units=flats,
        purpose_built=flats > 1,
        common_parts=flats > 1,
        passenger_lift=False,
        lift_used_at_work=False,
    )


def _unit(chance: Random, number: int, building: law.Building, around: date) -> law.Unit:
    shared = building.self_contained_units == 1 and chance.random() < 0.2
    began = around - timedelta(days=chance.randint(30, 2000))
    ended = chance.choice((None, began + timedelta(days=364)))
    return law.Unit(
        ref=f"U{number}",
        building=building.ref,
        label=f"Flat {chance.randint(1, 12)}" if building.common_parts else None,
        dwelling="flat" if building.common_parts else "house",
        landlord="private",
        landlord_ref=f"L{chance.randint(1, 5000)}",
        letting=law.Letting("tenancy"),
        occupancy=law.Occupancy(6, 6, True) if shared else law.Occupancy(chance.randint(1, 4), 1, False),
        hmo=law.Hmo(False, chance.random() < 0.3),
        tenancies=(law.Tenancy("t1", began, began, ended),),
        marketing=(),
        rooms=tuple(law.Room(use, 0, use) for use in ROOM_USES),
        appliances=(
            law.Appliance("boiler", "gas_boiler", "kitchen", "landlord", began - timedelta(days=900)),
        ),
        landlord_electrical_appliances=False,
        main_board_rcd_30ma=True,
        alarms=_alarms(around),
        certificates=(*_papers(chance, around), *_licences(shared, around)),
        defects=(law.Defect("note", "bs7671", "C3", "Cover plate cracked", around - timedelta(days=200)),),
        events=(),
    )


def _alarms(around: date) -> tuple[law.Alarm, ...]:
    good_to = around + timedelta(days=2000)
    return (
        law.Alarm("smoke", "smoke", "hall", "mains", True, True, good_to, ()),
        law.Alarm("heat", "heat", "kitchen", "mains", True, True, good_to, ()),
        law.Alarm("co", "co", "kitchen", "sealed_battery", False, True, good_to, ()),
    )


def _papers(chance: Random, around: date) -> tuple[law.Certificate, ...]:
    """An electrical report, three gas checks a year apart, an EPC: all in date."""
    electrical = around - timedelta(days=chance.randint(0, 1700))
    gas = around - timedelta(days=chance.randint(0, 330))
    energy = around - timedelta(days=chance.randint(0, 3500))
    safe = (law.ApplianceCheck("boiler", "safe"),)
    checks = [gas - timedelta(days=chance.randint(330, 365) * ago) for ago in (2, 1, 0)]
    return (
        law.Certificate("eicr", "eicr", "E-1", inspected=electrical, outcome="satisfactory"),
        *(
            law.Certificate(f"gas{i}", "gas_safety_record", f"G-{i}", inspected=day, appliances=safe)
            for i, day in enumerate(checks)
        ),
        law.Certificate("epc", "epc", "P-1", registered=energy, rating=chance.choice("BCDE")),
    )


def _licences(shared: bool, around: date) -> tuple[law.Certificate, ...]:
    kinds = ("hmo_licence", "selective_licence") if shared else ("selective_licence",)
    start, end = around - timedelta(days=400), around + timedelta(days=900)
    return tuple(law.Certificate(kind, kind, issued=start, until=end) for kind in kinds)


def _spoil(chance: Random, unit: law.Unit, around: date) -> law.Unit:
    """One thing amiss, of the sorts that agents meet."""
    amiss = chance.randrange(6)
    papers = unit.certificates or ()
    if amiss == 0:
        gone = chance.choice([paper.kind for paper in papers])
        return replace(unit, certificates=tuple(paper for paper in papers if paper.kind != gone))
    if amiss == 1:
        old = around - timedelta(days=2200)
        return replace(unit, certificates=(replace(papers[0], inspected=old), *papers[1:]))
    if amiss == 2:
        return replace(unit, certificates=(replace(papers[0], outcome="unsatisfactory"), *papers[1:]))
    if amiss == 3:
        danger = law.Defect("d1", "bs7671", "C2", "Loose socket", around - timedelta(days=5), "eicr")
        return replace(unit, defects=(*(unit.defects or ()), danger))
    if amiss == 4:
        return replace(unit, alarms=(unit.alarms or ())[1:])
    return replace(unit, alarms=None)
