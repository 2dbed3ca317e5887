"""The facts the law is asked about, and the answer it gives.

Field names and meanings are those of the portfolio/1 file. Everywhere `None` means "not recorded" and never
"no"; an empty tuple means "recorded: there are none". Dates are `datetime.date`, lengths are metres.
"""

from dataclasses import dataclass, field
from datetime import date
from enum import StrEnum
from typing import NamedTuple

NATIONS = ("england", "wales", "scotland", "northern_ireland")
DWELLINGS = ("house", "flat", "room")
LANDLORDS = ("private", "registered_provider", "resident")
LETTINGS = ("tenancy", "licence", "long_lease", "occupation_contract")
PURPOSES = ("let", "sale")
ROOM_USES = ("living", "bedroom", "kitchen", "bathroom", "wc", "hall", "landing", "utility", "store")
APPLIANCES = ("gas_boiler", "gas_fire", "gas_cooker", "gas_pipework", "oil_boiler", "solid_fuel", "open_fire")
OWNERS = ("landlord", "tenant")
ALARMS = ("smoke", "heat", "co")
POWERS = ("mains", "sealed_battery", "battery")
CERTIFICATES = (
    "eicr", "gas_safety_record", "epc", "epc_commission", "mees_exemption", "pat", "hmo_licence",
    "selective_licence", "landlord_registration", "home_report", "fire_risk_assessment",
    "fire_door_check_common", "fire_door_check_flat", "lift_examination", "emergency_lighting_test",
    "fire_alarm_service", "asbestos_register", "legionella_assessment", "eic", "minor_works",
    "building_work_notice", "evacuation_plan", "other",
)  # fmt: skip
BUILDING_PAPERS = (
    "fire_risk_assessment", "fire_door_check_common", "lift_examination", "emergency_lighting_test",
    "fire_alarm_service", "asbestos_register", "evacuation_plan",
)  # fmt: skip
"""Papers of a whole building, which speak for every home in it alike."""
OUTCOMES = ("satisfactory", "unsatisfactory")
RATINGS = ("A", "B", "C", "D", "E", "F", "G")
APPLIANCE_RESULTS = ("safe", "id", "ar", "not_tested")
EXEMPTIONS = ("all_improvements", "high_cost", "wall_insulation", "consent", "devaluation", "new_landlord")
SCHEMES = ("bs7671", "igem_g11", "hhsrs", "fire", "damp_mould", "other")
CODES: dict[str, tuple[str, ...]] = {
    "bs7671": ("C1", "C2", "C3", "FI"),
    "igem_g11": ("ID", "AR", "NCS"),
    "hhsrs": ("cat1", "cat2"),
    "fire": ("intolerable", "substantial", "moderate", "tolerable", "trivial"),
    "damp_mould": ("emergency", "significant", "minor"),
    "other": ("danger", "repair", "note"),
}
"""Which codes each scheme has. bs7671, igem_g11 and hhsrs are those of the published standards; the words
under fire are the usual five of a fire risk assessment; the rest are our own plain words."""
ACTS = (
    "copy_given", "request_received", "confirmation_given", "aware", "investigated", "notice_served",
    "work_started", "work_completed", "prohibition_made", "prohibition_lifted", "deposit_received",
    "deposit_protected", "deposit_information_given", "terms_given", "right_to_rent_checked",
)  # fmt: skip
"""What the law counts from or asks for. `work_completed` is building or electrical work that has to be notified;
`terms_given` is the written statement, terms or tenancy notice; the prohibition is the council's order."""
PARTIES = ("tenant", "prospect", "council")


@dataclass(frozen=True, slots=True)
class Building:
    ref: str
    name: str | None = None
    nation: str | None = None
    address: tuple[str, ...] | None = None
    postcode: str | None = None
    year_built: int | None = None
    storeys: int | None = None
    top_storey_height_m: float | None = None
    self_contained_units: int | None = None
    purpose_built: bool | None = None
    """Built as flats, not converted into them: decides the flat test of HMO licensing."""
    common_parts: bool | None = None
    passenger_lift: bool | None = None
    lift_used_at_work: bool | None = None
    simultaneous_evacuation: bool | None = None
    """On an alarm everybody is to leave at once (and not stay put): decides evacuation plans above 11 m."""


@dataclass(frozen=True, slots=True)
class Letting:
    kind: str | None = None
    term_years: float | None = None


@dataclass(frozen=True, slots=True)
class Occupancy:
    persons: int | None = None
    households: int | None = None
    shares_amenities: bool | None = None


@dataclass(frozen=True, slots=True)
class Hmo:
    additional_licensing_area: bool | None = None
    selective_licensing_area: bool | None = None


@dataclass(frozen=True, slots=True)
class Tenancy:
    ref: str
    granted: date | None = None
    starts: date | None = None
    ends: date | None = None
    """Last day, or None: no end is on record."""


@dataclass(frozen=True, slots=True)
class Marketing:
    purpose: str
    """`for` in the file: let or sale."""
    starts: date | None = None
    """`from` in the file: first day on the market."""


@dataclass(frozen=True, slots=True)
class Room:
    ref: str
    level: int | None = None
    use: str | None = None


@dataclass(frozen=True, slots=True)
class Appliance:
    ref: str
    kind: str | None = None
    room: str | None = None
    owner: str | None = None
    installed: date | None = None


@dataclass(frozen=True, slots=True)
class Alarm:
    ref: str
    kind: str | None = None
    room: str | None = None
    power: str | None = None
    interlinked: bool | None = None
    working: bool | None = None
    replace_by: date | None = None
    tested: tuple[date, ...] | None = None


@dataclass(frozen=True, slots=True)
class ApplianceCheck:
    appliance: str
    result: str | None = None


@dataclass(frozen=True, slots=True)
class Certificate:
    ref: str
    kind: str
    number: str | None = None
    inspected: date | None = None
    issued: date | None = None
    registered: date | None = None
    until: date | None = None
    """The last day as printed on the paper."""
    outcome: str | None = None
    rating: str | None = None
    next_within_years: float | None = None
    remedy_within_days: int | None = None
    appliances: tuple[ApplianceCheck, ...] | None = None
    exemption: str | None = None
    applied: date | None = None
    withdrawn: date | None = None


@dataclass(frozen=True, slots=True)
class Defect:
    ref: str
    scheme: str
    code: str
    title: str | None = None
    found: date | None = None
    certificate: str | None = None
    made_safe: date | None = None
    completed: date | None = None
    confirmed: date | None = None


@dataclass(frozen=True, slots=True)
class Act:
    """Something done that the law counts from or asks for (`events` in the file)."""

    what: str
    of: str | None = None
    party: str | None = None
    on: date | None = None
    at: str | None = None
    """Time of day, HH:MM, where the law counts hours."""


@dataclass(frozen=True, slots=True)
class Unit:
    ref: str
    building: str
    label: str | None = None
    dwelling: str | None = None
    landlord: str | None = None
    landlord_ref: str | None = None
    letting: Letting = field(default_factory=Letting)
    occupancy: Occupancy = field(default_factory=Occupancy)
    hmo: Hmo = field(default_factory=Hmo)
    tenancies: tuple[Tenancy, ...] | None = None
    marketing: tuple[Marketing, ...] | None = None
    acquired_with_tenant: date | None = None
    rooms: tuple[Room, ...] | None = None
    appliances: tuple[Appliance, ...] | None = None
    landlord_electrical_appliances: bool | None = None
    main_board_rcd_30ma: bool | None = None
    alarms: tuple[Alarm, ...] | None = None
    certificates: tuple[Certificate, ...] | None = None
    defects: tuple[Defect, ...] | None = None
    events: tuple[Act, ...] | None = None


@dataclass(frozen=True, slots=True)
class Portfolio:
    """A whole file: buildings and units whose `building` names one of them."""

    buildings: tuple[Building, ...] = ()
    units: tuple[Unit, ...] = ()


class State(StrEnum):
    MET = "met"
    NOT_MET = "not_met"
    UNKNOWN = "unknown"
    NOT_APPLICABLE = "not_applicable"


class Basis(StrEnum):
    """How sure we are: the words of the text, a reading of them, memory, or the house's own rule."""

    TEXT = "text"
    INTERPRETATION = "interpretation"
    MEMORY = "memory"
    HOUSE_POLICY = "house_policy"


class DutyState(StrEnum):
    OPEN = "open"
    DONE = "done"
    LATE = "late"


class Reason(NamedTuple):
    """Why a let or a sale is barred, or a warning about it."""

    requirement: str
    kind: str
    of: str | None
    since: date | None
    says: str
    cure: str
    source: str
    basis: Basis


class Part(NamedTuple):
    """One appliance's share of a requirement that is asked of each (gas)."""

    of: str
    state: State
    due: date | None
    certificate: str | None
    anniversary_kept: bool


class Requirement(NamedTuple):
    id: str
    title: str
    state: State
    due: date | None
    """Last good day."""
    certificate: str | None
    source: str
    basis: Basis
    parts: tuple[Part, ...] = ()
    let: str = "block"
    """What it does to a let where it is not met: block, warn, info or none."""
    sale: str = "none"
    remarks: tuple[Reason, ...] = ()
    """Why it is not met or unknown, where that neither bars nor warns."""


class Duty(NamedTuple):
    id: str
    title: str
    due: date | None
    """Last day on which doing it is in time."""
    party: str | None
    of: str | None
    state: DutyState
    source: str
    basis: Basis
    by: str | None = None
    """Time of day, HH:MM, on the last day, where the law counts hours."""


@dataclass(frozen=True, slots=True)
class Answer:
    """May it be let (or sold) on the day? Until when, if nothing more is recorded?"""

    clear: bool
    until: date | None
    bars: tuple[Reason, ...]
    warnings: tuple[Reason, ...]


@dataclass(frozen=True, slots=True)
class Standing:
    ref: str
    on: date
    let: Answer
    sale: Answer
    requirements: tuple[Requirement, ...]
    duties: tuple[Duty, ...]
    changes_on: date | None
    packs: tuple[tuple[str, str], ...]
    """(pack name, version) of every pack that spoke."""
