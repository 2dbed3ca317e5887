"""Whom papers go to and which; and what a contractor asked to renew one is told."""

import unicodedata
from collections.abc import Iterable
from typing import Any
from uuid import uuid4

from django import forms
from django.template.defaultfilters import filesizeformat

from inspections.models import Contractor
from notifications.papers.choice import PARTY, Answer, Paper, Proof
from notifications.papers.letter import Ask, Offer
from portfolio import words

MOST_NOTE = 2000


def one_line(said: str) -> str:
    """A name is one line of visible letters. Raises ValidationError."""
    if any(unicodedata.category(letter)[0] == "C" for letter in said):
        raise forms.ValidationError("Write it on one line, in letters that can be seen.")
    return " ".join(said.split())


class PapersForm(forms.Form):
    """`key` makes the same form sent twice one mail."""

    key = forms.UUIDField(widget=forms.HiddenInput)
    party = forms.ChoiceField(choices=list(PARTY.items()), widget=forms.HiddenInput)
    name = forms.CharField(
        label="Name of the reader",
        max_length=100,
        strip=True,
        error_messages={"required": "Say who reads it."},
    )
    email = forms.EmailField(label="E-mail address", max_length=254)
    agreed = forms.BooleanField(
        label="The reader agreed to be given papers by e-mail at this address", required=False
    )
    papers = forms.MultipleChoiceField(
        label="Papers", widget=forms.CheckboxSelectMultiple, required=False,
        error_messages={"invalid_choice": "One of these papers cannot be sent. Choose from the list."},
    )  # fmt: skip
    proofs = forms.MultipleChoiceField(
        label="Proof of what was put right",
        widget=forms.CheckboxSelectMultiple,
        required=False,
        help_text="Defects that a second person confirmed, with the photos and papers that show it.",
        error_messages={"invalid_choice": "One of these defects is not confirmed. Choose from the list."},
    )
    answers = forms.MultipleChoiceField(
        label="Record as done once the mail server has taken it",
        widget=forms.CheckboxSelectMultiple,
        required=False,
        error_messages={"invalid_choice": "One of these cannot be recorded now. Choose from the list."},
    )
    note = forms.CharField(
        label="A few words of your own",
        required=False,
        max_length=MOST_NOTE,
        widget=forms.Textarea(attrs={"rows": 3}),
        help_text="The reader gets this as it stands.",
    )

    def __init__(self, *args: Any, offer: Offer, **more: Any) -> None:
        more["initial"] = {"key": uuid4(), "party": offer.party, **more.get("initial", {})}
        super().__init__(*args, **more)
        fields: Any = self.fields
        fields["papers"].choices = [(str(one.pk), _paper_words(one)) for one in offer.papers]
        if offer.party != "council":
            del fields["proofs"], fields["answers"]
        else:
            fields["proofs"].choices = [(str(one.pk), _proof_words(one)) for one in offer.proofs]
            able = [one for one in offer.answers if not one.why_not]
            fields["answers"].choices = [(one.code, _answer_words(one)) for one in able]
        if offer.party not in ("tenant", "prospect"):
            del fields["agreed"]
        elif offer.party == "tenant":
            fields["agreed"].required = True
            fields["agreed"].error_messages["required"] = (
                "Tick this if the tenant agreed; if not, give the papers by hand or by post and record that."
            )

    def clean_name(self) -> str:
        return one_line(self.cleaned_data["name"])

    def clean(self) -> dict[str, Any]:
        said = super().clean() or {}
        if not self.errors and not said.get("papers") and not said.get("proofs"):
            self.add_error("papers", "Choose at least one paper.")
        return said

    def ask(self) -> Ask:
        said = self.cleaned_data
        return Ask(
            party=said["party"],
            name=said["name"],
            email=said["email"],
            papers=_ids(said["papers"]),
            proofs=_ids(said.get("proofs", ())),
            answers=frozenset(said.get("answers", ())),
            note=said["note"].strip(),
            agreed=said.get("agreed", False),
        )

    def typed(self) -> list[tuple[str, str]]:
        """All that was typed, to be carried through the page on which it is looked at."""
        found = []
        for name in self.fields:
            data: Any = self.data
            values = data.getlist(name) if hasattr(data, "getlist") else [data[name]]
            found += [(name, value) for value in values]
        return found


def _ids(chosen: Iterable[str]) -> frozenset[int]:
    return frozenset(map(int, chosen))


def _paper_words(paper: Paper) -> str:
    sizes = f"{len(paper.files)} file{'s' if len(paper.files) > 1 else ''}, "
    sizes += filesizeformat(sum(file.size for file in paper.files))
    return f"{paper.says} ({sizes})" if paper.newest else f"{paper.says} ({sizes}; there is a later one)"


def _proof_words(proof: Proof) -> str:
    count = len(proof.files)
    return f"{proof.says} ({count} file{'' if count == 1 else 's'})"


def _answer_words(answer: Answer) -> str:
    """Each duty it answers, with its last day and where the law says so."""
    said = []
    for duty in answer.duties:
        by = f"by {duty.due:%-d %b %Y}" if duty.due else "no day in law"
        said.append(f"{duty.title} ({by}; {duty.source})")
    return f"{words.ACT[answer.what]}: {'; '.join(said)}"


class RenewalForm(forms.Form):
    contractor = forms.ModelChoiceField(
        label="Contractor",
        queryset=Contractor.objects.none(),
        widget=forms.RadioSelect,
        empty_label=None,
        error_messages={
            "required": "Choose a contractor.",
            "invalid_choice": "Choose one of the contractors that may be asked.",
        },
    )
    days = forms.CharField(
        label="Days that suit",
        required=False,
        max_length=300,
        help_text="Such as: any weekday from 9 to 13 March.",
    )
    access_notes = forms.CharField(
        label="How to get in",
        required=False,
        max_length=MOST_NOTE,
        widget=forms.Textarea(attrs={"rows": 3}),
        help_text="Keys, whom to ring, dogs, parking. The contractor reads this as it stands.",
    )

    def __init__(self, *args: Any, contractors: Any, **more: Any) -> None:
        super().__init__(*args, **more)
        self.fields["contractor"].queryset = contractors  # type: ignore[attr-defined]

    def clean_days(self) -> str:
        return one_line(self.cleaned_data["days"])
