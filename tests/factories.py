"""Invented records for tests: built through the same services as real ones.

The day of most tests is `DAY`; `at(day)` is noon of a day.
"""

from collections.abc import Iterable
from dataclasses import replace
from datetime import UTC, date, datetime
from itertools import count
from typing import Any

from django.test import Client

from inspections.models import Competence
from portfolio.clock import Moment, moment_of
from portfolio.law import model as law
from portfolio.models import Agency, HousePolicy, Landlord, Unit, User
from portfolio.services import policies
from portfolio.services.take_in import take_in

DAY = date(2026, 11, 25)
PASSWORD = "invented-pass-phrase"
_number = count(1)


def at(day: date = DAY, hour: int = 12) -> Moment:
    return moment_of(datetime(day.year, day.month, day.day, hour, tzinfo=UTC))


def make_agency(name: str | None = None) -> Agency:
    return Agency.objects.create(name=name or f"Invented Lettings {next(_number)}")


def make_user(
    agency: Agency, role: str = "agent", *, competent: Iterable[str] = tuple(law.CODES), **fields: Any
) -> User:
    """A person with a log-in; an inspector is competent for these schemes."""
    number = next(_number)
    if role == "landlord" and "landlord" not in fields:
        fields["landlord"] = make_landlord(agency)
    defaults = {"email": f"{role}{number}@example.org", "name": f"Invented {role.title()} {number}"}
    user = User.objects.create_user(**{**defaults, **fields}, password=PASSWORD, agency=agency, role=role)
    if role == "inspector":
        for scheme in competent:
            Competence.objects.create(user=user, scheme=scheme, by="Invented qualification")
    return user


def signed_in(user: User) -> Client:
    """A browser in which the user has logged in."""
    client = Client()
    client.force_login(user)
    return client


def put_in_force(agency: Agency, settings: dict[str, Any], *, actor: User) -> HousePolicy:
    """A house policy asked for and in force at noon of the day of the tests."""
    row = policies.policy_ask(agency, settings, why="Asked by the insurer.", actor=actor, moment=at())
    assert policies.policy_apply(row.pk, moment=at())
    row.refresh_from_db()
    return row


def make_landlord(agency: Agency, ref: str | None = None) -> Landlord:
    ref = ref or f"L{next(_number)}"
    return Landlord.objects.create(agency=agency, ref=ref, name=f"Landlord {ref}")


BUILDING = law.Building(
    ref="tannery-row-9",
    name="9 Tannery Row",
    nation="england",
    address=("9 Tannery Row", "Oxcombe"),
    postcode="ZZ1 1ZZ",
    year_built=1968,
    storeys=3,
    top_storey_height_m=6.0,
    self_contained_units=6,
    purpose_built=True,
    common_parts=True,
    passenger_lift=False,
    lift_used_at_work=False,
    simultaneous_evacuation=False,
)
CLEAR_FLAT = law.Unit(
    ref="flat-2",
    building="tannery-row-9",
    label="Flat 2",
    dwelling="flat",
    landlord="private",
    landlord_ref="L1",
    letting=law.Letting("tenancy"),
    occupancy=law.Occupancy(persons=2, households=1, shares_amenities=False),
    hmo=law.Hmo(additional_licensing_area=False, selective_licensing_area=False),
    tenancies=(),
    marketing=(),
    rooms=(
        law.Room("hall", 0, "hall"),
        law.Room("lounge", 0, "living"),
        law.Room("kitchen", 0, "kitchen"),
        law.Room("bed", 0, "bedroom"),
        law.Room("bath", 0, "bathroom"),
    ),
    appliances=(law.Appliance("boiler", "gas_boiler", "kitchen", "landlord", date(2019, 6, 3)),),
    landlord_electrical_appliances=False,
    main_board_rcd_30ma=True,
    alarms=(
        law.Alarm("s1", "smoke", "hall", "mains", True, True, date(2032, 1, 1), ()),
        law.Alarm("c1", "co", "kitchen", "sealed_battery", False, True, date(2030, 1, 1), ()),
    ),
    certificates=(
        law.Certificate("e1", "eicr", "EI-1", inspected=date(2023, 3, 14), outcome="satisfactory"),
        law.Certificate(
            "g0",
            "gas_safety_record",
            "G-0",
            inspected=date(2025, 5, 20),
            appliances=(law.ApplianceCheck("boiler", "safe"),),
        ),
        law.Certificate(
            "g1",
            "gas_safety_record",
            "G-1",
            inspected=date(2026, 4, 2),
            appliances=(law.ApplianceCheck("boiler", "safe"),),
        ),
        law.Certificate(
            "p1", "epc", "0000-1111", registered=date(2020, 9, 10), until=date(2030, 9, 9), rating="C"
        ),
    ),
    defects=(),
    events=(law.Act("copy_given", "g1", "tenant", date(2026, 4, 10)),),
)
"""Clear to let until 2027-05-20 (gas keeps its anniversary) and to sell until 2030-09-09, asked on DAY."""


def clear_portfolio(**changes: Any) -> law.Portfolio:
    """One clear flat, with changes to its facts; without the copies given of papers it then lacks."""
    unit = replace(CLEAR_FLAT, **changes)
    if "events" not in changes:
        held = {paper.ref for paper in unit.certificates or ()}
        unit = replace(unit, events=tuple(act for act in unit.events or () if act.of in held))
    return law.Portfolio((BUILDING,), (unit,))


def with_band(letter: str) -> tuple[law.Certificate, ...]:
    """The papers of the clear flat, its energy certificate of another band."""
    return tuple(
        replace(paper, rating=letter) if paper.kind == "epc" else paper
        for paper in CLEAR_FLAT.certificates or ()
    )


def without(unit: law.Unit, *refs: str) -> law.Unit:
    """The unit without some of its certificates."""
    kept = tuple(paper for paper in unit.certificates or () if paper.ref not in refs)
    return replace(unit, certificates=kept)


def make_home(agency: Agency, actor: Any = None, *, day: date = DAY, **changes: Any) -> Unit:
    """A clear flat in the database, with changes to its facts; `ref` defaults to a fresh one."""
    changes.setdefault("ref", f"flat-{next(_number)}")
    take_in(clear_portfolio(**changes), agency=agency, actor=actor, moment=at(day))
    return Unit.objects.get(agency=agency, ref=changes["ref"])


def make_homes(agency: Agency, *changes: dict[str, Any]) -> list[Unit]:
    """A flat for each of these changes to the clear one, taken in together, which is far quicker than one by one."""
    each = [{"ref": f"flat-{next(_number)}"} | one for one in changes]
    units = tuple(clear_portfolio(**one).units[0] for one in each)
    take_in(law.Portfolio((BUILDING,), units), agency=agency, actor=None, moment=at())
    held = {unit.ref: unit for unit in Unit.objects.filter(agency=agency)}
    return [held[one["ref"]] for one in each]
