"""Contractors, their registrations, and the competence of our own people."""

from typing import Any

from django import forms

from inspections import words as own
from portfolio import words
from portfolio.filters import date_input
from portfolio.forms.fields import Day
from portfolio.models import User


class PeopleField(forms.ModelMultipleChoiceField):
    def label_from_instance(self, user: Any) -> str:
        return f"{user} ({user.get_role_display().lower()})"


class ContractorForm(forms.Form):
    name = forms.CharField(label="Name of the firm", max_length=200)
    email = forms.EmailField(
        label="E-mail", help_text="Jobs go there, each with a link by which whoever reads it can answer."
    )
    phone = forms.CharField(label="Telephone", max_length=40, required=False)
    trades = forms.MultipleChoiceField(
        label="What it does",
        choices=words.choices(own.TRADE),
        widget=forms.CheckboxSelectMultiple,
        error_messages={"required": "Choose what the firm does, one trade at least."},
    )
    people = PeopleField(
        label="Our people who work for it, or are paid by it",
        queryset=User.objects.none(),
        required=False,
        widget=forms.CheckboxSelectMultiple,
        help_text="They can never confirm what this firm has mended.",
    )
    ended = Day(
        label="No longer used since",
        required=False,
        widget=date_input(),
        help_text="Left empty while jobs may be sent to it.",
    )

    def __init__(self, *args: Any, people: Any, **more: Any) -> None:
        super().__init__(*args, **more)
        self.fields["people"].queryset = people  # type: ignore[attr-defined]


class RegistrationForm(forms.Form):
    kind = forms.ChoiceField(label="What it is", choices=[("", "Choose"), *words.choices(own.REGISTRATION)])
    number = forms.CharField(label="Number", max_length=100, required=False)
    until = Day(
        label="Last good day",
        required=False,
        widget=date_input(),
        help_text="Without it the registration proves nothing: gas and electrical work is not sent on it.",
    )
    checked_on = Day(
        label="Looked up in the register on",
        required=False,
        widget=date_input(),
        help_text="The day somebody of ours looked it up, not the day a copy came.",
    )


class CompetenceForm(forms.Form):
    scheme = forms.ChoiceField(label="May judge", choices=[("", "Choose"), *words.choices(words.SCHEME)])
    by = forms.CharField(
        label="By what",
        max_length=200,
        help_text="Qualification or registration, with its number.",
    )
    until = Day(
        label="Last good day", required=False, widget=date_input(), help_text="Left empty: it has no end."
    )
