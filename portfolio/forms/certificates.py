"""A certificate as typed in: only the fields that its kind has, and for gas a line for each appliance."""

from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import date
from typing import Any

from django import forms

from portfolio import words
from portfolio.filters import date_input
from portfolio.forms.fields import Day
from portfolio.forms.paper_fields import FIELDS, NEEDED, SPANS, label
from portfolio.law import model as law

DAYS = ("inspected", "registered", "issued", "applied")
PAST = ("inspected", "registered", "applied")
"""Days of something done. A licence may be issued to begin on a later day, so `issued` may lie ahead."""


class KindForm(forms.Form):
    kind = forms.ChoiceField(label="What kind of paper is it?", choices=words.choices(words.CERTIFICATE))


class CertificateForm(forms.Form):
    inspected = Day(label="Day of inspection", widget=date_input())
    registered = Day(label="Day registered", widget=date_input())
    issued = Day(label="Day issued", widget=date_input())
    outcome = forms.ChoiceField(
        label="Outcome", choices=words.choices(words.OUTCOME), widget=forms.RadioSelect
    )
    rating = forms.ChoiceField(label="Rating", choices=words.choices(words.RATING), widget=forms.RadioSelect)
    exemption = forms.ChoiceField(label="Ground of the exemption", choices=words.choices(words.EXEMPTION))
    next_within_years = forms.FloatField(
        label="Next inspection within, years",
        min_value=0.25,
        max_value=10,
        help_text="As the report says; 0.5 for six months.",
    )
    until = Day(
        label="Printed last day", widget=date_input(), help_text="The last good day, if the paper prints one."
    )
    remedy_within_days = forms.IntegerField(
        label="Put right within, days",
        min_value=0,
        max_value=365,
        help_text="Only if the report gives less time than the law does.",
    )
    applied = Day(
        label="Applied for on",
        widget=date_input(),
        help_text="Only while the application is still undecided.",
    )
    number = forms.CharField(label="Number on the paper", max_length=100)
    upload = forms.FileField(
        label="The paper itself", help_text="PDF, JPEG, PNG, WebP or HEIC. It is kept exactly as it comes."
    )

    def __init__(
        self,
        *args: Any,
        kind: str,
        appliances: Sequence[tuple[str, str]],
        day: date,
        needs_file: bool,
        others: Sequence[tuple[int, str]] = (),
        **more: Any,
    ) -> None:
        """`appliances`: ref and words of each one that a gas record can speak of. `day`: today.

        `others`: id and name of each other home that a paper of the building can be recorded for in the same go.
        """
        super().__init__(*args, **more)
        self.kind, self.day, self.appliances, self.others = kind, day, appliances, others
        wanted = FIELDS[kind]
        for name in [name for name in self.fields if name not in (*wanted, "upload")]:
            del self.fields[name]
        self.order_fields([*wanted, "upload"])
        for name, field in self.fields.items():
            field.label = label(kind, name) or field.label
            field.required = name in NEEDED.get(kind, ()) or (name == "upload" and needs_file)
            if isinstance(field, forms.ChoiceField) and not field.required:
                field.choices = [("", "Not recorded"), *field.choices]  # type: ignore[misc]
        for at, (_, said) in enumerate(appliances if kind == "gas_safety_record" else ()):
            self.fields[f"appliance_{at}"] = forms.ChoiceField(
                label=said,
                required=False,
                choices=[("", "Not on this record"), *words.choices(words.APPLIANCE_RESULT)],
                widget=forms.RadioSelect,
            )
        if others and kind in law.BUILDING_PAPERS:
            self.fields["also"] = forms.TypedMultipleChoiceField(
                label="It speaks for the whole building: record it for these homes too",
                required=False,
                coerce=int,
                choices=list(others),
                initial=[pk for pk, _ in others],
                widget=forms.CheckboxSelectMultiple,
                error_messages={
                    "invalid_choice": "One of the homes is not among those offered. Choose again."
                },
            )
        self.order_fields(
            [*wanted, *(name for name in self.fields if name.startswith("appliance_")), "also", "upload"]
        )

    def clean(self) -> dict[str, Any]:
        said = super().clean() or {}
        for name in PAST:
            if said.get(name) and said[name] > self.day:
                self.add_error(name, "This day lies in the future. Enter the day printed on the paper.")
        first = next((said[name] for name in DAYS if said.get(name)), None)
        if first is None and not said.get("withdrawn") and not any(name in self.errors for name in DAYS):
            raise forms.ValidationError(
                "Give at least one day: without it nobody can say how long the paper is good."
            )
        if not said.get("applied") and not said.get("withdrawn"):
            for name in SPANS.get(self.kind, ()):
                if not said.get(name) and name not in self.errors:
                    self.add_error(name, _span_words(self.kind))
        if first and said.get("until") and said["until"] < first:
            self.add_error("until", "The printed last day lies before the day of the paper itself.")
        silent = self.kind == "gas_safety_record" and self.appliances and not self._results(said)
        if silent and not said.get("withdrawn"):
            raise forms.ValidationError("Say for at least one appliance what the record says of it.")
        return said

    def certificate(self) -> law.Certificate:
        """What was typed in, as facts; an empty ref asks for the next free one."""
        said = self.cleaned_data
        values = {name: said.get(name) or None for name in FIELDS[self.kind]}
        checks = tuple(self._results(said)) if self.kind == "gas_safety_record" else None
        return law.Certificate(ref="", kind=self.kind, appliances=checks, **values)

    def _results(self, said: dict[str, Any]) -> list[law.ApplianceCheck]:
        return [
            law.ApplianceCheck(ref, said[f"appliance_{at}"])
            for at, (ref, _) in enumerate(self.appliances)
            if said.get(f"appliance_{at}")
        ]

    def also(self) -> dict[int, str]:
        """The other homes it is recorded for, by id."""
        chosen = set(self.cleaned_data.get("also") or ())
        return {pk: name for pk, name in self.others if pk in chosen}

    def typed(self) -> list[tuple[str, str]]:
        """Names and values as typed, to carry through the check to the saving."""
        data: Any = self.data
        return [(name, value) for name in self.fields for value in data.getlist(name)]

    def rows(self) -> list[tuple[str, Any]]:
        """Labels and what was typed, in words, for reading over."""
        said = (
            (field.label, self.cleaned_data.get(name), field)
            for name, field in self.fields.items()
            if name not in ("also", "upload")
        )
        return [
            (str(label), _in_words(value, field)) for label, value, field in said if value not in (None, "")
        ]


def _span_words(kind: str) -> str:
    if len(SPANS[kind]) == 1:
        return "A registration counts from its first day. Give it, or the day it was applied for."
    return "A licence counts from its first to its last day. Give both."


def _in_words(value: Any, field: Any) -> Any:
    choices: Any = getattr(field, "choices", ())
    return dict(choices).get(value, value)


class CorrectForm(CertificateForm):
    """What is on record of a paper, to be made what the paper says. Any field of a law certificate its kind has."""

    withdrawn = Day(
        label="Counts no longer since",
        required=False,
        widget=date_input(),
        help_text="Only if it was entered by mistake, or revoked. A paper replaced by a newer one stays as it is.",
    )
    why = forms.CharField(label="Why is this changed?", max_length=300, help_text="Kept in the record.")

    def __init__(self, *args: Any, kind: str, **more: Any) -> None:
        super().__init__(*args, kind=kind, needs_file=False, **more)
        del self.fields["upload"]
        for name in ("withdrawn", "why"):
            self.fields[name] = type(self).base_fields[name]
        for name in NEEDED.get(kind, ()):
            self.fields[name].required = False

    @staticmethod
    def of(
        paper: Any, checks: Mapping[str, str | None], appliances: Sequence[tuple[str, str]]
    ) -> dict[str, Any]:
        """Initial values from the record."""
        kept = {name: getattr(paper, name) for name in (*FIELDS[paper.kind], "withdrawn")}
        return kept | {f"appliance_{at}": checks.get(ref) for at, (ref, _) in enumerate(appliances)}

    def corrected(self, paper: law.Certificate) -> law.Certificate:
        """The facts of the paper with what was typed in."""
        typed = self.certificate()
        names = (*FIELDS[self.kind], "withdrawn")
        values: dict[str, Any] = {name: self.cleaned_data.get(name) or None for name in names}
        return replace(paper, appliances=typed.appliances, **values)


class FileForm(forms.Form):
    upload = forms.FileField(
        label="The file", help_text="PDF, JPEG, PNG, WebP or HEIC. It is kept exactly as it comes."
    )
