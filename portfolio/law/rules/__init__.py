"""One module for each subject. A rule is a pure function of a home, a topic and a day to be asked."""

from . import alarms, danger, electrical, energy, gas, house, licensing
from .registry import RULES, Rule

__all__ = ["RULES", "Rule", "alarms", "danger", "electrical", "energy", "gas", "house", "licensing"]
