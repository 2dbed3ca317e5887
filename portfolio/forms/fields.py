"""Fields in which "not recorded" is an answer of its own."""

import re
from datetime import date
from typing import Any

from django import forms
from django.core.validators import MaxLengthValidator, MaxValueValidator, MinValueValidator

NOT_RECORDED = ("", "Not recorded")


FIRST_DAY, LAST_DAY = date(1900, 1, 1), date(2200, 12, 31)
"""The days we work with, the same as in a portfolio file: a year mistyped as 0026 is nobody's day."""


class Day(forms.DateField):
    """A calendar day from 1900 to 2200."""

    default_validators = [
        MinValueValidator(FIRST_DAY, "Enter a day from the year 1900 on."),
        MaxValueValidator(LAST_DAY, "Enter a day up to the year 2200."),
    ]


class TimeOfDay(forms.CharField):
    """A time of day as the law counts hours: "HH:MM", or not recorded (None). A full stop may stand for the colon."""

    def __init__(self, **more: Any) -> None:
        more.setdefault("widget", forms.TextInput(attrs={"inputmode": "numeric", "autocomplete": "off"}))
        super().__init__(required=False, empty_value=None, **more)

    def clean(self, value: Any) -> str | None:
        said: str | None = super().clean(value)
        if said is None:
            return None
        found = re.fullmatch(r"([01]?[0-9]|2[0-3])[:.]([0-5][0-9])", said, re.ASCII)
        if found is None:
            raise forms.ValidationError(
                "This is not a time of day. Write hours and minutes from 00:00 to 23:59, such as 17:30."
            )
        return f"{int(found[1]):02}:{found[2]}"


class YesNo(forms.TypedChoiceField):
    """Yes, no, or not recorded (None)."""

    def __init__(self, **more: Any) -> None:
        super().__init__(
            choices=[("yes", "Yes"), ("no", "No"), NOT_RECORDED],
            coerce=lambda said: said == "yes",
            empty_value=None,
            required=False,
            widget=forms.RadioSelect,
            **more,
        )

    def prepare_value(self, value: Any) -> Any:
        return {True: "yes", False: "no", None: ""}.get(value, value)


class Word(forms.TypedChoiceField):
    """One of our words, or not recorded (None)."""

    def __init__(self, words: dict[str, str], **more: Any) -> None:
        super().__init__(
            choices=[NOT_RECORDED, *words.items()], empty_value=None, required=False, coerce=str, **more
        )

    def prepare_value(self, value: Any) -> Any:
        return "" if value is None else value


class Text(forms.CharField):
    """A line of text, or not recorded (None)."""

    def __init__(self, **more: Any) -> None:
        super().__init__(required=False, empty_value=None, **more)


class Lines(forms.CharField):
    """Lines of an address as a list, or not recorded (None)."""

    def __init__(self, **more: Any) -> None:
        super().__init__(required=False, widget=forms.Textarea(attrs={"rows": 4}), **more)

    def prepare_value(self, value: Any) -> Any:
        return "\n".join(value) if isinstance(value, list | tuple) else value

    def clean(self, value: Any) -> Any:
        lines = [line.strip() for line in (super().clean(value) or "").splitlines()]
        return tuple(line for line in lines if line) or None


class Words(forms.CharField):
    """Free text of some length. What is too long comes back whole, with an error: a browser that knew the limit would
    cut off what is pasted without a word."""

    widget = forms.Textarea

    def __init__(self, *, max_length: int, **more: Any) -> None:
        super().__init__(max_length=max_length, **more)
        for one in self.validators:
            if isinstance(one, MaxLengthValidator):
                one.message = (
                    "This has %(show_value)d characters, and %(limit_value)d can be kept. Shorten it."
                )

    def widget_attrs(self, widget: forms.Widget) -> dict[str, Any]:
        attrs: dict[str, Any] = super().widget_attrs(widget)
        attrs["data-most"] = attrs.pop("maxlength", self.max_length)
        return attrs
