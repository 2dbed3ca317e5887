"""Whatever people write has a limit, and no browser cuts it off unseen."""

import importlib
import pkgutil

from django import forms
from django.forms.fields import CharField

import inspections.forms

ALWAYS_SHORT = (forms.UUIDField, forms.EmailField)


def every_form():
    for found in pkgutil.iter_modules(inspections.forms.__path__):
        module = importlib.import_module(f"inspections.forms.{found.name}")
        for made in vars(module).values():
            if (
                isinstance(made, type)
                and issubclass(made, forms.BaseForm)
                and made.__module__ == module.__name__
            ):
                yield made


def test_free_text_has_a_limit_and_areas_leave_it_to_us():
    seen = 0
    for form in every_form():
        for name, field in form.base_fields.items():
            if not isinstance(field, CharField) or isinstance(field, ALWAYS_SHORT):
                continue
            if type(field).__name__ == "TimeOfDay" or field.widget.is_hidden:
                continue
            seen += 1
            assert field.max_length, f"{form.__name__}.{name} takes any length"
            cut = isinstance(field.widget, forms.Textarea) and "maxlength" in field.widget.attrs
            assert not cut, f"{form.__name__}.{name} is cut off by the browser"
    assert seen > 20
