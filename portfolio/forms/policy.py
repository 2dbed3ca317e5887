"""A house policy as it is typed in: each option with what is asked of every home beside it."""

from collections.abc import Iterable
from datetime import date
from typing import Any

from django import forms

from portfolio import words
from portfolio.law.lawbook import Lawbook
from portfolio.law.model import RATINGS
from portfolio.law.policy import MARGINS, MOST_MARGIN_DAYS, MOST_TEST_MONTHS, REPAIR_DAYS
from portfolio.policy_words import Option, band, codes_to_add, options, warnings_in_words

CODES_PREFIX = "also_dangers."
DAYS_PREFIX = "repair_days."


class PolicyForm(forms.Form):
    """One field for each option, by its name; `initial` and `settings` are a policy's settings."""

    why = forms.CharField(
        label="Why is it changed?",
        max_length=300,
        help_text="Such as: the insurer asks for it from January. It is kept for good.",
    )
    seen = forms.IntegerField(widget=forms.HiddenInput)

    def __init__(self, data: Any, *, book: Lawbook, day: date, settings: dict[str, Any], seen: int) -> None:
        """`settings`: what to show first. `seen`: the newest policy the person knows of, 0 for none."""
        initial = {
            **settings,
            **{f"{CODES_PREFIX}{s}": c for s, c in settings.get("also_dangers", {}).items()},
            **{f"{DAYS_PREFIX}{name}": days for name, days in settings.get("repair_days", {}).items()},
        }
        super().__init__(data, initial=initial | {"seen": seen})
        self.options = options(book, day)
        for option in self.options:
            self.fields[option.name] = _field(option, book)
        self.order_fields([*(option.name for option in self.options), "why", "seen"])

    def settings(self) -> dict[str, Any]:
        """What was typed in, as `Policy.of` takes it."""
        said = {
            name: value for name, value in self.cleaned_data.items() if name not in ("why", "seen") and value
        }
        plain = {name: value for name, value in said.items() if "." not in name}
        codes, days = (
            {name.removeprefix(prefix): value for name, value in said.items() if name.startswith(prefix)}
            for prefix in (CODES_PREFIX, DAYS_PREFIX)
        )
        return {**plain, "also_dangers": codes, "repair_days": days}

    def asking(self) -> Iterable[forms.BoundField]:
        """The fields of the options; then come the reason and what is hidden."""
        return [self[option.name] for option in self.options]


def _field(option: Option, book: Lawbook) -> forms.Field:
    says = f"Asked of every home: {option.anyhow}"
    if option.name in MARGINS:
        return _number(option.label, says, MOST_MARGIN_DAYS)
    if option.name == "alarm_test_months":
        return _number(f"{option.label}, months", says, MOST_TEST_MONTHS)
    if option.name.startswith(DAYS_PREFIX):
        return _number(option.label, says, REPAIR_DAYS[option.name.removeprefix(DAYS_PREFIX)])
    if option.name == "worst_band":
        choices = [("", "No band of our own"), *((letter, band(letter)) for letter in RATINGS)]
        return forms.ChoiceField(label=option.label, choices=choices, required=False, help_text=says)
    if option.name == "warnings_that_bar":
        return _boxes(option.label, says, list(warnings_in_words(book).items()))
    codes = codes_to_add(book, option.name.removeprefix(CODES_PREFIX))
    return _boxes(option.label, says, [(code, words.CODE[code]) for code in codes])


def _number(label: str, says: str, most: int) -> forms.Field:
    return forms.IntegerField(
        label=label,
        required=False,
        min_value=1,
        max_value=most,
        help_text=f"{says} Left empty: nothing more.",
    )


def _boxes(label: str, says: str, choices: list[tuple[str, str]]) -> forms.Field:
    return forms.MultipleChoiceField(
        label=label, required=False, choices=choices, widget=forms.CheckboxSelectMultiple, help_text=says
    )
