"""Recording a defect, and saying that its work is done."""

from typing import Any

from django import forms

from portfolio import words
from portfolio.filters import date_input
from portfolio.forms.fields import Day
from portfolio.law import model as law
from portfolio.models import Certificate, Room, Unit
from portfolio.selectors.naming import paper_words


class RoomField(forms.ModelChoiceField):
    def label_from_instance(self, room: Any) -> str:
        return words.room(room.use, room.level, room.ref)


class PaperField(forms.ModelChoiceField):
    def label_from_instance(self, paper: Any) -> str:
        return paper_words(paper)


class DefectForm(forms.Form):
    """The class carries its scheme, so that no class can be chosen that its scheme does not have."""

    title = forms.CharField(
        label="What is wrong?",
        max_length=300,
        help_text="What is seen and where, as for somebody who was not there.",
    )
    code = forms.ChoiceField(
        label="Class",
        choices=[
            ("", "Choose"),
            *(
                (
                    words.SCHEME[scheme],
                    [(f"{scheme}:{code}", words.CODE[code]) for code in codes if code != "NCS"],
                )
                for scheme, codes in law.CODES.items()
            ),
        ],
        help_text="As the person who saw it classed it.",
    )
    found = Day(label="Found on", widget=date_input())
    room = RoomField(
        label="Room", queryset=Room.objects.none(), required=False, empty_label="Not in one room"
    )
    certificate = PaperField(
        label="Reported in",
        queryset=Certificate.objects.none(),
        required=False,
        empty_label="Not from a paper",
    )

    def __init__(self, *args: Any, unit: Unit, **more: Any) -> None:
        super().__init__(*args, **more)
        self.fields["room"].queryset = unit.rooms.filter(removed=None).order_by("level", "pk")  # type: ignore[attr-defined]
        self.fields["certificate"].queryset = unit.certificates.order_by("-pk")  # type: ignore[attr-defined]

    def recorded(self) -> dict[str, Any]:
        """The arguments of `defect_record`."""
        said = dict(self.cleaned_data)
        said["scheme"], said["code"] = said["code"].split(":")
        return said


class DoneForm(forms.Form):
    on = Day(
        label="Work done on",
        widget=date_input(),
        error_messages={"required": "Say on which day the work was done."},
    )
