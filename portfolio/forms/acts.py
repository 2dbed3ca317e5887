"""Tenancies, marketing, and acts the law counts."""

from datetime import date
from typing import Any

from django import forms

from portfolio import words
from portfolio.filters import date_input
from portfolio.forms.fields import Day, TimeOfDay, Word
from portfolio.law import model as law


class TenancyForm(forms.Form):
    granted = Day(
        label="Granted on", required=False, widget=date_input(), help_text="The day the agreement was made."
    )
    starts = Day(label="Starts on", widget=date_input())
    ends = Day(
        label="Last day", required=False, widget=date_input(), help_text="Left empty: no end is on record."
    )

    def clean(self) -> dict[str, Any]:
        said = super().clean() or {}
        if said.get("starts") and said.get("ends") and said["ends"] < said["starts"]:
            self.add_error("ends", "The last day lies before the first.")
        return said

    def fact(self) -> law.Tenancy:
        return law.Tenancy(ref="", **self.cleaned_data)


class TenancyEndForm(forms.Form):
    ends = Day(label="Last day", widget=date_input())

    def __init__(self, *args: Any, starts: date | None, **more: Any) -> None:
        super().__init__(*args, **more)
        self.starts = starts

    def clean_ends(self) -> date:
        ends: date = self.cleaned_data["ends"]
        if self.starts and ends < self.starts:
            raise forms.ValidationError("The last day lies before the first.")
        return ends


class MarketingForm(forms.Form):
    purpose = forms.ChoiceField(
        label="On the market", choices=words.choices(words.PURPOSE), widget=forms.RadioSelect
    )
    starts = Day(label="From", widget=date_input())

    def fact(self) -> law.Marketing:
        return law.Marketing(**self.cleaned_data)


ACTS = [(group, words.choices(words.ACT, codes)) for group, codes in words.ACT_GROUPS.items()]


class ActForm(forms.Form):
    what = forms.ChoiceField(label="What was done", choices=ACTS)
    of = Word(
        {},
        label="Which one",
        help_text="The paper, defect, alarm or tenancy. A written summary is a copy given of the defect.",
    )
    party = Word(words.PARTY, label="To, from or by whom")
    on = Day(label="On", widget=date_input())
    at = TimeOfDay(
        label="At what time",
        help_text="Only where hours count, as with an emergency that was reported: 17:30. Else leave it empty.",
    )

    def __init__(self, *args: Any, refs: dict[str, str], day: date, **more: Any) -> None:
        """`refs`: plain words of each ref of the home. `day`: today."""
        super().__init__(*args, **more)
        self.day = day
        self.fields["of"].choices = [("", "The home itself"), *refs.items()]  # type: ignore[attr-defined]

    def clean_on(self) -> date:
        on: date = self.cleaned_data["on"]
        if on > self.day:
            raise forms.ValidationError("This day lies in the future.")
        return on

    def fact(self) -> law.Act:
        return law.Act(**self.cleaned_data)
