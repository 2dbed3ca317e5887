"""Defects."""

from inspections.models.defects import Defect

__all__ = ["Defect"]
