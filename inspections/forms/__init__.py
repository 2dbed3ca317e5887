"""Forms of this app, one module for each kind of thing that is filled in."""

from inspections.forms.defects import DefectForm, DoneForm

__all__ = ["DefectForm", "DoneForm"]
