"""Every field of a portfolio/1 file: its kind, its bounds and what it means.

The reader, the writer and the JSON Schema are all made from this one table. The lengths of texts are those of
the database columns that keep them.
"""

from dataclasses import dataclass

from portfolio.exchange.kinds import Day, ListOf, Number, OneOf, PointsTo, Text, TimeOfDay, YesNo
from portfolio.exchange.records import ALL_CODES, DefectRecord, Record
from portfolio.law import model as law

FORMAT = "portfolio/1"
REF = Text(100, name=True)
ROOM = (PointsTo(lists=("rooms",)), "Ref of the room it is in.")
LISTS = 1_000
"""Most rows in one list of one home."""
FILE = 250_000
"""Most buildings, and most units, in one file."""


@dataclass(frozen=True)
class File:
    """What the outermost object holds."""

    format: str
    buildings: tuple[law.Building, ...] | None = None
    units: tuple[law.Unit, ...] | None = None


BUILDING = Record(
    law.Building,
    "A building with one home or several.",
    {
        "ref": (REF, "Your own short name for it, used once among the buildings."),
        "name": (Text(200), "What people call it."),
        "nation": (OneOf(law.NATIONS), "Whose law applies."),
        "address": (ListOf(Text(200), 10), "Lines of the address, without the postcode."),
        "postcode": (Text(12), "Postcode."),
        "year_built": (Number(1000, 2200), "Year it was built."),
        "storeys": (Number(0, 200), "Storeys, ground floor included."),
        "top_storey_height_m": (
            Number(0, 1000, whole=False),
            "Height of the top storey's floor above ground, metres.",
        ),
        "self_contained_units": (Number(0, 10_000), "Self-contained homes in it."),
        "purpose_built": (YesNo(), "Built as flats, not converted into them."),
        "common_parts": (YesNo(), "It has parts shared by several homes."),
        "passenger_lift": (YesNo(), "It has a passenger lift."),
        "lift_used_at_work": (YesNo(), "People use the lift in their work there."),
        "simultaneous_evacuation": (
            YesNo(),
            "On an alarm everybody leaves at once, rather than staying put.",
        ),
    },
    same="ref",
)
LETTING = Record(
    law.Letting,
    "How the home is let, or would be.",
    {
        "kind": (OneOf(law.LETTINGS), "By what kind of agreement."),
        "term_years": (
            Number(0, 9999, whole=False),
            "Length of a fixed term, years. Null: none is on record.",
        ),
    },
)
OCCUPANCY = Record(
    law.Occupancy,
    "Who lives in the home, or would; of a room let singly, in the whole shared house.",
    {
        "persons": (Number(0, 10_000), "People, children included."),
        "households": (Number(0, 10_000), "Households they form."),
        "shares_amenities": (YesNo(), "Households share a kitchen, bathroom or WC, or lack one."),
    },
)
HMO = Record(
    law.Hmo,
    "What the council has designated where the home stands.",
    {
        "additional_licensing_area": (YesNo(), "Additional licensing of shared houses is in force there."),
        "selective_licensing_area": (YesNo(), "Selective licensing of rented homes is in force there."),
    },
)
TENANCY = Record(
    law.Tenancy,
    "One letting of the home, past, running or to come.",
    {
        "ref": (REF, "Your own short name for it, used once in this list."),
        "granted": (Day(), "Day it was granted."),
        "starts": (Day(), "First day."),
        "ends": (Day(), "Last day. Null: no end is on record."),
    },
    same="ref",
    in_order=(("starts", "ends"),),
)
MARKETING = Record(
    law.Marketing,
    "A time on the market.",
    {
        "purpose": (OneOf(law.PURPOSES), "To let it or to sell it."),
        "starts": (Day(), "First day on the market."),
    },
    keys={"purpose": "for", "starts": "from"},
)
ROOM_ROW = Record(
    law.Room,
    "One room; landings and halls count.",
    {
        "ref": (REF, "Your own short name for it, used once in this list."),
        "level": (
            Number(-20, 200),
            "Storey: 0 is the home's entrance storey or the ground, -1 the one below.",
        ),
        "use": (OneOf(law.ROOM_USES), "What it is used for."),
    },
    same="ref",
)
APPLIANCE = Record(
    law.Appliance,
    "An appliance that burns something, or gas pipework.",
    {
        "ref": (REF, "Your own short name for it, used once in this list."),
        "kind": (OneOf(law.APPLIANCES), "What it is."),
        "room": ROOM,
        "owner": (OneOf(law.OWNERS), "Whose it is."),
        "installed": (Day(), "Day it was put in."),
    },
    same="ref",
)
ALARM = Record(
    law.Alarm,
    "A smoke, heat or carbon monoxide alarm.",
    {
        "ref": (REF, "Your own short name for it, used once in this list."),
        "kind": (OneOf(law.ALARMS), "What it detects."),
        "room": ROOM,
        "power": (OneOf(law.POWERS), "What it runs on."),
        "interlinked": (YesNo(), "It sounds when the others sound."),
        "working": (YesNo(), "It worked when last tried."),
        "replace_by": (Day(), "Last day of its life, as printed on it."),
        "tested": (ListOf(Day(), LISTS), "Days on which it was tested."),
    },
    same="ref",
)
CHECK = Record(
    law.ApplianceCheck,
    "What a paper says of one appliance.",
    {
        "appliance": (PointsTo(lists=("appliances",)), "Ref of the appliance."),
        "result": (OneOf(law.APPLIANCE_RESULTS), "Safe, immediately dangerous, at risk, or not tested."),
    },
    same="appliance",
)
CERTIFICATE = Record(
    law.Certificate,
    "A dated paper; licences, registrations and exemptions too.",
    {
        "ref": (REF, "Your own short name for it, used once in this list. A new paper gets a new one."),
        "kind": (OneOf(law.CERTIFICATES), "What paper it is."),
        "number": (Text(100), "Number printed on it."),
        "inspected": (Day(), "Day of the inspection, check or survey."),
        "issued": (Day(), "Day of issue; of an order for an EPC, the day ordered."),
        "registered": (Day(), "Day it was entered on the public register."),
        "until": (Day(), "Printed last day, itself still good."),
        "outcome": (OneOf(law.OUTCOMES), "Overall result."),
        "rating": (OneOf(law.RATINGS), "Energy rating."),
        "next_within_years": (
            Number(0, 100, whole=False),
            "The paper asks for the next one within so many years.",
        ),
        "remedy_within_days": (
            Number(0, 10_000),
            "The paper asks for the faults to be cured within so many days.",
        ),
        "appliances": (ListOf(CHECK, LISTS), "What it says of each appliance."),
        "exemption": (OneOf(law.EXEMPTIONS), "Ground of an energy efficiency exemption."),
        "applied": (Day(), "Day of an application, duly made and still undecided."),
        "withdrawn": (Day(), "Day it was withdrawn."),
    },
    same="ref",
    in_order=(("inspected", "until"), ("issued", "until"), ("registered", "until")),
)
DEFECT = DefectRecord(
    law.Defect,
    "Something wrong in the home, classed by whoever saw it.",
    {
        "ref": (REF, "Your own short name for it, used once in this list."),
        "scheme": (OneOf(law.SCHEMES), "Whose classes the code is from."),
        "code": (OneOf(ALL_CODES), "Class of the defect, one of its scheme's."),
        "title": (Text(300), "What is wrong."),
        "found": (Day(), "Day it was found."),
        "certificate": (PointsTo(lists=("certificates",)), "Ref of the paper that reports it."),
        "made_safe": (Day(), "Day it was made safe for the time being."),
        "completed": (Day(), "Day the work was done."),
        "confirmed": (Day(), "Day a competent second person accepted the evidence of it."),
    },
    same="ref",
    in_order=(
        ("found", "made_safe"),
        ("found", "completed"),
        ("found", "confirmed"),
        ("completed", "confirmed"),
    ),
)
ACT = Record(
    law.Act,
    "Something done that the law counts from, or asks for.",
    {
        "what": (OneOf(law.ACTS), "What was done."),
        "of": (
            PointsTo(lists=("certificates", "defects", "alarms", "appliances", "tenancies")),
            "Ref of the certificate, defect, alarm, appliance or tenancy it is about.",
        ),
        "party": (OneOf(law.PARTIES), "To or by whom."),
        "on": (Day(), "The day."),
        "at": (TimeOfDay(), "The time of day, where the law counts hours."),
    },
)
UNIT = Record(
    law.Unit,
    "One home: a house, a flat, or a room let singly.",
    {
        "ref": (REF, "Your own short name for it, used once among the units."),
        "building": (PointsTo(lists=("buildings",), of_file=True), "Ref of the building it is in."),
        "label": (Text(200), "Which home in the building, such as Flat 2."),
        "dwelling": (OneOf(law.DWELLINGS), "House, flat, or room let singly in a shared house."),
        "landlord": (
            OneOf(law.LANDLORDS),
            "What kind of landlord; a resident one shares the home with the tenant.",
        ),
        "landlord_ref": (Text(100, name=True), "Who the landlord is, in your own words."),
        "letting": (LETTING, LETTING.says),
        "occupancy": (OCCUPANCY, OCCUPANCY.says),
        "hmo": (HMO, HMO.says),
        "tenancies": (ListOf(TENANCY, LISTS), "Lettings, past, running and to come."),
        "marketing": (ListOf(MARKETING, LISTS), "Times on the market."),
        "acquired_with_tenant": (Day(), "Day it was bought with a sitting tenant."),
        "rooms": (ListOf(ROOM_ROW, LISTS), "Rooms, landings and halls."),
        "appliances": (ListOf(APPLIANCE, LISTS), "Appliances that burn something, and gas pipework."),
        "landlord_electrical_appliances": (YesNo(), "The landlord supplies plug-in electrical appliances."),
        "main_board_rcd_30ma": (YesNo(), "The main consumer unit has a 30 mA residual current device."),
        "alarms": (ListOf(ALARM, LISTS), "Smoke, heat and carbon monoxide alarms."),
        "certificates": (ListOf(CERTIFICATE, LISTS), "Papers, old ones too."),
        "defects": (ListOf(DEFECT, LISTS), "What is or was wrong."),
        "events": (ListOf(ACT, LISTS), "Things done that the law counts from, or asks for."),
    },
    same="ref",
)
PORTFOLIO = Record(
    File,
    "Buildings, the homes in them, their papers and defects. What is absent or null is not recorded.",
    {
        "format": (OneOf((FORMAT,)), "Which format this is."),
        "buildings": (ListOf(BUILDING, FILE), "Buildings."),
        "units": (ListOf(UNIT, FILE), "Homes."),
    },
)
RECORDS = (
    BUILDING, LETTING, OCCUPANCY, HMO, TENANCY, MARKETING, ROOM_ROW, APPLIANCE, ALARM, CHECK, CERTIFICATE,
    DEFECT, ACT, UNIT,
)  # fmt: skip
