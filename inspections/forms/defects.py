"""What is filled in about a defect: recording it, and each step of putting it right."""

from collections.abc import Iterable
from typing import Any

from django import forms

from inspections import words as own
from inspections.models import Contractor, Defect
from portfolio import words
from portfolio.filters import date_input
from portfolio.forms.fields import Day, Words
from portfolio.law import model as law
from portfolio.models import Certificate, Room, Unit
from portfolio.selectors.naming import paper_words, rooms_called

Choice = tuple[str, str]


class RoomField(forms.ModelChoiceField):
    """One of the rooms of a home, or none."""

    def __init__(self, **more: Any) -> None:
        more |= {"queryset": Room.objects.none(), "required": False, "empty_label": "Not in one room"}
        super().__init__(**more)

    def of(self, unit: Unit) -> None:
        self.called = rooms_called([unit.pk])
        self.queryset = unit.rooms.filter(removed=None).order_by("level", "pk")

    def label_from_instance(self, room: Any) -> str:
        return self.called[room.pk].full


class PaperField(forms.ModelChoiceField):
    def label_from_instance(self, paper: Any) -> str:
        return paper_words(paper)


def classes() -> list[Any]:
    """Every class under its scheme; the value carries the scheme, so that no class of another can be chosen."""
    return [
        ("", "Choose"),
        *(
            (
                words.SCHEME[scheme],
                [(f"{scheme}:{code}", words.CODE[code]) for code in codes if code != "NCS"],
            )
            for scheme, codes in law.CODES.items()
        ),
    ]


def _lines(rows: int = 3) -> forms.Textarea:
    return forms.Textarea(attrs={"rows": rows})


class DefectForm(forms.Form):
    title = forms.CharField(
        label="What is wrong?",
        max_length=300,
        help_text="What is seen and where, as for somebody who was not there.",
    )
    code = forms.ChoiceField(label="Class", choices=classes, help_text="As the person who saw it classed it.")
    found = Day(label="Found on", widget=date_input())
    room = RoomField(label="Room")
    certificate = PaperField(
        label="Reported in",
        queryset=Certificate.objects.none(),
        required=False,
        empty_label="Not from a paper",
    )

    def __init__(self, *args: Any, unit: Unit, **more: Any) -> None:
        super().__init__(*args, **more)
        self.fields["room"].of(unit)  # type: ignore[attr-defined]
        self.fields["certificate"].queryset = unit.certificates.order_by("-pk")  # type: ignore[attr-defined]

    def recorded(self) -> dict[str, Any]:
        """The arguments of `defect_record`."""
        said = dict(self.cleaned_data)
        said["scheme"], said["code"] = said["code"].split(":")
        return said


class DescribeForm(forms.Form):
    """The description of a defect; its class and days have forms of their own."""

    title = forms.CharField(label="What is wrong?", max_length=300)
    room = RoomField(label="Room")
    place = forms.CharField(label="Accessory, circuit or exact place", required=False, max_length=200)
    note = Words(label="What else there is to say", required=False, max_length=4000, widget=_lines())
    trade = forms.ChoiceField(
        label="Who mends it", required=False, choices=[("", "Not recorded"), *words.choices(own.TRADE)]
    )

    def __init__(self, *args: Any, defect: Defect, **more: Any) -> None:
        shown = {name: getattr(defect, name) for name in ("title", "room", "place", "note", "trade")}
        super().__init__(*args, **{"initial": shown, "prefix": "describe", **more})
        self.fields["room"].of(defect.unit)  # type: ignore[attr-defined]

    def said(self) -> dict[str, Any]:
        """The arguments of `defect_describe`."""
        return self.cleaned_data | {"trade": self.cleaned_data["trade"] or None}


class MadeSafeForm(forms.Form):
    on = Day(label="Made safe on", widget=date_input())
    how = Words(
        label="How",
        max_length=1000,
        widget=_lines(2),
        help_text="Isolated, covered, capped, taken out of use. It bars the home as before until it is put right. "
        "Whoever records this cannot confirm the repair.",
        error_messages={"required": "Say how it was made safe: isolated, covered, capped, out of use."},
    )

    def __init__(self, *args: Any, **more: Any) -> None:
        super().__init__(*args, **{"prefix": "safe", **more})


class DoneForm(forms.Form):
    """`works`: kinds of work to choose from. `firms`: contractors, or nothing for those who see none of them."""

    on = Day(
        label="Work done on",
        widget=date_input(),
        error_messages={"required": "Say on which day the work was done."},
    )
    work = forms.ChoiceField(
        label="Kind of work",
        error_messages={
            "required": "Say what kind of work it was: on it depends which paper has to come back."
        },
    )
    contractor = forms.ModelChoiceField(
        label="Done by the contractor",
        queryset=Contractor.objects.none(),
        required=False,
        empty_label="Not a contractor, or not known",
        help_text="Nobody who works for them or is paid by them can confirm it.",
    )

    def __init__(self, *args: Any, works: Iterable[Choice], firms: Any = None, **more: Any) -> None:
        super().__init__(*args, **{"prefix": "done", **more})
        self.fields["work"].choices = [("", "Choose"), *works]  # type: ignore[attr-defined]
        if firms is None:
            del self.fields["contractor"]
        else:
            self.fields["contractor"].queryset = firms  # type: ignore[attr-defined]


class SendBackForm(forms.Form):
    why = Words(
        label="What is missing or wrong?",
        max_length=1000,
        widget=_lines(),
        help_text="For whoever has to put it right. They are told.",
        error_messages={"required": "Say what is missing or wrong, for whoever has to put it right."},
    )

    def __init__(self, *args: Any, **more: Any) -> None:
        super().__init__(*args, **{"prefix": "back", **more})


class ConfirmForm(forms.Form):
    """`works`: kinds of work, where nobody has said which it was. `missing`: has a paper not come back?"""

    work = forms.ChoiceField(
        label="Kind of work", required=False, help_text="Nobody has said yet which it was."
    )
    no_paper_why = Words(
        label="Why there is no paper",
        required=False,
        max_length=1000,
        widget=_lines(2),
        help_text="Only if it will not come. The reason is kept.",
    )

    def __init__(self, *args: Any, works: Iterable[Choice] = (), missing: bool = False, **more: Any) -> None:
        super().__init__(*args, **{"prefix": "confirm", **more})
        choices = list(works)
        if choices:
            self.fields["work"].choices = [("", "Choose"), *choices]  # type: ignore[attr-defined]
        else:
            del self.fields["work"]
        if not (missing or choices):
            del self.fields["no_paper_why"]


class RecodeForm(forms.Form):
    code = forms.ChoiceField(label="Class", choices=classes)
    why = Words(
        label="Why is it classed otherwise?",
        max_length=1000,
        widget=_lines(2),
        help_text="Kept in the record.",
        error_messages={"required": "Say why it is classed otherwise: the reason is kept."},
    )

    def __init__(self, *args: Any, **more: Any) -> None:
        super().__init__(*args, **{"prefix": "recode", **more})

    def said(self) -> dict[str, Any]:
        """The arguments of `defect_recode`."""
        scheme, code = self.cleaned_data["code"].split(":")
        return {"scheme": scheme, "code": code, "why": self.cleaned_data["why"]}
