"""One module for each subject. A rule is a pure function of a home, a topic and a day to be asked."""

from . import alarms, damp, danger, electrical, energy, gas, hazards, house, licensing
from .registry import RULES, Rule

__all__ = ["RULES", "Rule", "alarms", "damp", "danger", "electrical", "energy", "gas", "hazards", "house", "licensing"]
