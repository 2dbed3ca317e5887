"""One module for each subject. A rule is a pure function of a home, a topic and a day to be asked."""

from . import (
    alarms,
    alarms_interlinked,
    building,
    damp,
    danger,
    electrical,
    electrical_duties,
    electrical_equipment,
    electrical_shared,
    energy,
    energy_first,
    gas,
    hazards,
    house,
    licensing,
    paperwork,
    registration,
    sale,
)
from .registry import RULES, Rule

__all__ = [
    "RULES", "Rule", "alarms", "alarms_interlinked", "building", "damp", "danger", "electrical",
    "electrical_duties", "electrical_equipment", "electrical_shared", "energy", "energy_first", "gas",
    "hazards", "house", "licensing", "paperwork", "registration", "sale",
]  # fmt: skip
