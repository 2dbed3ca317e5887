"""The plain English for every stored code: one word per idea, used by pages, sheets and messages alike."""

import re
from collections.abc import Iterable

NATION = {
    "england": "England",
    "wales": "Wales",
    "scotland": "Scotland",
    "northern_ireland": "Northern Ireland",
}
DWELLING = {"house": "House", "flat": "Flat", "room": "Room in a shared house"}
LANDLORD = {
    "private": "Private landlord",
    "registered_provider": "Registered provider of social housing",
    "resident": "Resident landlord (lives in the home)",
}
LETTING = {
    "tenancy": "Tenancy",
    "licence": "Licence to occupy",
    "long_lease": "Long lease",
    "occupation_contract": "Occupation contract",
}
PURPOSE = {"let": "To let", "sale": "For sale"}
ROOM_USE = {
    "living": "Living room",
    "bedroom": "Bedroom",
    "kitchen": "Kitchen",
    "bathroom": "Bathroom",
    "wc": "WC",
    "hall": "Hall",
    "landing": "Landing",
    "utility": "Utility room",
    "store": "Store or cupboard",
}
APPLIANCE = {
    "gas_boiler": "Gas boiler",
    "gas_fire": "Gas fire",
    "gas_cooker": "Gas cooker or hob",
    "gas_pipework": "Gas pipework",
    "oil_boiler": "Oil boiler",
    "solid_fuel": "Solid fuel stove",
    "open_fire": "Open fire",
}
OWNER = {"landlord": "Landlord's", "tenant": "Tenant's own"}
ALARM = {"smoke": "Smoke alarm", "heat": "Heat alarm", "co": "Carbon monoxide alarm"}
POWER = {"mains": "Mains", "sealed_battery": "Sealed battery", "battery": "Battery"}
CERTIFICATE = {
    "eicr": "Electrical condition report (EICR)",
    "gas_safety_record": "Gas safety record",
    "epc": "Energy performance certificate (EPC)",
    "epc_commission": "Order for an EPC",
    "mees_exemption": "Energy efficiency exemption",
    "pat": "Portable appliance test (PAT)",
    "hmo_licence": "HMO licence",
    "selective_licence": "Selective licence",
    "landlord_registration": "Landlord registration",
    "home_report": "Home Report",
    "fire_risk_assessment": "Fire risk assessment",
    "fire_door_check_common": "Fire door check, common parts",
    "fire_door_check_flat": "Fire door check, flat entrance",
    "lift_examination": "Lift examination",
    "emergency_lighting_test": "Emergency lighting test",
    "fire_alarm_service": "Fire alarm service",
    "asbestos_register": "Asbestos register",
    "legionella_assessment": "Legionella assessment",
    "eic": "Electrical installation certificate (EIC)",
    "minor_works": "Minor electrical works certificate",
    "building_work_notice": "Building work certificate or notice",
    "evacuation_plan": "Evacuation plan of the building",
    "other": "Other paper",
}
OUTCOME = {"satisfactory": "Satisfactory", "unsatisfactory": "Unsatisfactory"}
RATING = {letter: letter for letter in "ABCDEFG"}
APPLIANCE_RESULT = {
    "safe": "Safe",
    "id": "Immediately Dangerous (ID)",
    "ar": "At Risk (AR)",
    "not_tested": "Not tested",
}
EXEMPTION = {
    "all_improvements": "All improvements made",
    "high_cost": "Cost too high",
    "wall_insulation": "Wall insulation unsuitable",
    "consent": "Consent refused",
    "devaluation": "Would lower the value",
    "new_landlord": "Newly a landlord",
}
SCHEME = {
    "bs7671": "Electrical (BS 7671)",
    "igem_g11": "Gas (IGEM/G/11)",
    "hhsrs": "Housing hazard (HHSRS)",
    "fire": "Fire",
    "damp_mould": "Damp and mould",
    "other": "Other",
}
CODE = {
    "C1": "C1: danger present",
    "C2": "C2: potentially dangerous",
    "C3": "C3: improvement recommended",
    "FI": "FI: further investigation",
    "ID": "ID: Immediately Dangerous",
    "AR": "AR: At Risk",
    "NCS": "NCS: not to current standards (no longer used)",
    "cat1": "Category 1 hazard",
    "cat2": "Category 2 hazard",
    "intolerable": "Intolerable",
    "substantial": "Substantial",
    "moderate": "Moderate",
    "tolerable": "Tolerable",
    "trivial": "Trivial",
    "emergency": "Emergency",
    "significant": "Significant",
    "minor": "Minor",
    "danger": "Danger",
    "repair": "Repair",
    "note": "Note",
}
ACT = {
    "copy_given": "Copy given",
    "request_received": "Request received",
    "confirmation_given": "Confirmation given",
    "aware": "Became aware",
    "investigated": "Investigated",
    "notice_served": "Notice served",
    "work_started": "Work started",
    "work_completed": "Building or electrical work finished",
    "prohibition_made": "Prohibition order made",
    "prohibition_lifted": "Prohibition order lifted",
    "deposit_received": "Deposit received",
    "deposit_protected": "Deposit protected",
    "deposit_information_given": "Information about the deposit given",
    "terms_given": "Written terms or tenancy notice given",
    "right_to_rent_checked": "Right to rent checked",
}
ACT_GROUPS = {
    "Of a paper": ("copy_given", "request_received", "confirmation_given"),
    "Of a defect, damp or mould": ("aware", "investigated", "work_started"),
    "By the council": ("notice_served", "prohibition_made", "prohibition_lifted"),
    "Of building work": ("work_completed",),
    "Of a tenancy": (
        "deposit_received", "deposit_protected", "deposit_information_given", "terms_given",
        "right_to_rent_checked",
    ),
}  # fmt: skip
"""What each act is usually about."""
PARTY = {"tenant": "Tenant", "prospect": "Prospective tenant", "council": "Council"}
ROLE = {"agent": "Letting agent", "landlord": "Landlord", "inspector": "Inspector"}

_FIELD = re.compile(r" \([a-z0-9_.]+\)(?=\.$)")


def plainly(says: str) -> str:
    """What a reason says to a reader of pages: without the name of the missing field, "(alarms.working)"."""
    return _FIELD.sub("", says) if "not recorded: " in says.lower() else says


def room(use: str | None, level: int | None, otherwise: str, number: int = 0) -> str:
    """A room in words with its storey; `otherwise` when its use is not recorded. `number` tells it from its like."""
    name = f"{ROOM_USE.get(use or '', otherwise)}{f' {number}' if number else ''}"
    return name if level is None else f"{name}, {'ground floor' if level == 0 else f'storey {level}'}"


def choices(words: dict[str, str], only: Iterable[str] | None = None) -> list[tuple[str, str]]:
    """Django choices of a table of words, optionally only some of its codes."""
    return [(code, words[code]) for code in (only if only is not None else words)]
