"""Which fields each kind of paper has, which of them it cannot do without, and what they are called on it."""

LICENCE = ("issued", "until", "applied", "number")
TESTED = ("inspected", "outcome", "until", "number")
REVIEWED = ("inspected", "until", "number")
MADE = ("issued", "number")
FIELDS: dict[str, tuple[str, ...]] = {
    "eicr": ("inspected", "outcome", "next_within_years", "until", "remedy_within_days", "number"),
    "gas_safety_record": ("inspected", "number"),
    "epc": ("registered", "rating", "until", "number"),
    "epc_commission": MADE,
    "mees_exemption": ("registered", "exemption", "until", "number"),
    "pat": TESTED,
    "hmo_licence": LICENCE,
    "selective_licence": LICENCE,
    "landlord_registration": LICENCE,
    "home_report": ("inspected", "number"),
    "fire_risk_assessment": REVIEWED,
    "fire_door_check_common": ("inspected", "outcome", "number"),
    "fire_door_check_flat": ("inspected", "outcome", "number"),
    "lift_examination": TESTED,
    "emergency_lighting_test": TESTED,
    "fire_alarm_service": TESTED,
    "asbestos_register": REVIEWED,
    "legionella_assessment": REVIEWED,
    "eic": MADE,
    "minor_works": MADE,
    "building_work_notice": MADE,
    "evacuation_plan": REVIEWED,
    "other": ("inspected", "issued", "until", "outcome", "number"),
}
NEEDED: dict[str, tuple[str, ...]] = {
    "eicr": ("inspected", "outcome"),
    "epc": ("registered", "rating"),
    "mees_exemption": ("registered", "exemption"),
    **dict.fromkeys(("epc_commission", "eic", "minor_works", "building_work_notice"), ("issued",)),
    **dict.fromkeys(
        (
            "gas_safety_record", "pat", "home_report", "fire_risk_assessment", "fire_door_check_common",
            "fire_door_check_flat", "lift_examination", "emergency_lighting_test", "fire_alarm_service",
            "asbestos_register", "legionella_assessment", "evacuation_plan",
        ),
        ("inspected",),
    ),
}  # fmt: skip
"""The day that the law counts from, and whatever decides along with it."""
SPANS: dict[str, tuple[str, ...]] = {
    "hmo_licence": ("issued", "until"),
    "selective_licence": ("issued", "until"),
    "landlord_registration": ("issued",),
}
"""Days without which a paper in force counts for nothing; not asked of an application still undecided."""
_LABELS: dict[tuple[str, str], str] = {
    ("epc_commission", "issued"): "Day it was ordered",
    ("hmo_licence", "issued"): "First day of the licence",
    ("hmo_licence", "until"): "Last day of the licence",
    ("selective_licence", "issued"): "First day of the licence",
    ("selective_licence", "until"): "Last day of the licence",
    ("landlord_registration", "issued"): "First day of the registration",
    ("landlord_registration", "until"): "Last day of the registration, if it names one",
    ("home_report", "inspected"): "Day of the survey",
    ("pat", "inspected"): "Day of the test",
    ("pat", "until"): "Next test by, if the report says",
    ("fire_risk_assessment", "inspected"): "Day of the assessment",
    ("fire_risk_assessment", "until"): "Review by, if it says",
    ("fire_door_check_common", "inspected"): "Day of the check",
    ("fire_door_check_flat", "inspected"): "Day of the check",
    ("lift_examination", "inspected"): "Day of the examination",
    ("lift_examination", "until"): "Next examination by, if the report says",
    ("emergency_lighting_test", "inspected"): "Day of the full test",
    ("emergency_lighting_test", "until"): "Next full test by, if the log says",
    ("fire_alarm_service", "inspected"): "Day of the service",
    ("fire_alarm_service", "until"): "Next service by, if the report says",
    ("asbestos_register", "inspected"): "Day of the survey or of its last review",
    ("asbestos_register", "until"): "Review by, if it says",
    ("legionella_assessment", "inspected"): "Day of the assessment",
    ("legionella_assessment", "until"): "Review by, if it says",
    ("eic", "issued"): "Day issued",
    ("minor_works", "issued"): "Day issued",
    ("building_work_notice", "issued"): "Day issued",
    ("evacuation_plan", "inspected"): "Day it was made or last reviewed",
    ("evacuation_plan", "until"): "Review by, if it says",
}


def label(kind: str, name: str) -> str | None:
    """What a field is called on this kind of paper; None where the usual name will do."""
    return _LABELS.get((kind, name))
