"""What somebody brings to show the state before or after the work."""

from typing import Any
from uuid import uuid4

from django import forms

from inspections import words as own
from inspections.services.evidence import Paper
from portfolio import words
from portfolio.filters import date_input
from portfolio.forms.fields import Day, Words

TAKEN = "image/*,application/pdf,.heic"


class Several(forms.FileInput):
    allow_multiple_selected = True


class Files(forms.FileField):
    """Any number of files, which are proven elsewhere."""

    def clean(self, data: Any, initial: Any = None) -> Any:
        return data


class EvidenceForm(forms.Form):
    """What is said of the files; they are proven by `views.evidence.files_from`, which names each it refuses."""

    key = forms.UUIDField(widget=forms.HiddenInput)
    stage = forms.ChoiceField(
        label="What does it show?",
        choices=words.choices(own.STAGE),
        widget=forms.RadioSelect,
        error_messages={"required": "Say whether it shows the state before or after the work."},
    )
    uploads = Files(
        label="Photos or papers",
        required=False,
        widget=Several(attrs={"accept": TAKEN, "multiple": True}),
        help_text="JPEG, PNG, HEIC, WebP or PDF, each up to 20 MB. Kept exactly as they come.",
    )
    photo = Files(
        label="Or take a photo now",
        required=False,
        widget=forms.FileInput(attrs={"accept": "image/*", "capture": "environment"}),
    )
    says = Words(
        label="What was done or seen",
        required=False,
        max_length=4000,
        widget=forms.Textarea(attrs={"rows": 3}),
        help_text="In your words. Can be sent without a file.",
    )
    paper = forms.ChoiceField(
        label="Is the file a paper?",
        required=False,
        choices=[("", "No, photos or other files"), *words.choices(words.CERTIFICATE)],
        help_text="Such as the certificate of the work. Send a paper by itself.",
    )
    number = forms.CharField(label="Number on the paper", required=False, max_length=100)
    dated = Day(label="Day on the paper", required=False, widget=date_input())

    def __init__(self, *args: Any, **more: Any) -> None:
        super().__init__(*args, **{"initial": {"key": uuid4(), "stage": "after"}, **more})

    def clean(self) -> dict[str, Any]:
        said = super().clean() or {}
        if not said.get("paper") and (said.get("number") or said.get("dated")):
            self.add_error("paper", "Choose which kind of paper it is, or leave number and day empty.")
        if said.get("paper") and not said.get("dated") and "dated" not in self.errors:
            self.add_error("dated", "Give the day on the paper.")
        return said

    def brought(self) -> dict[str, Any]:
        """The arguments of `evidence_add_all` besides the files."""
        said = self.cleaned_data
        paper = Paper(said["paper"], said["number"], said["dated"]) if said["paper"] else None
        return {"key": said["key"], "stage": said["stage"], "says": said["says"], "paper": paper}


class WithdrawForm(forms.Form):
    why = Words(
        label="Why is it withdrawn?",
        max_length=1000,
        widget=forms.Textarea(attrs={"rows": 2}),
        help_text="Kept in the record, with the file itself.",
        error_messages={"required": "Say why it is withdrawn: the reason is kept."},
    )
