"""What is sent from a visit: a defect, a photo of one, a look, a room, the end."""

from collections.abc import Sequence
from typing import Any

from django import forms

from inspections import words as own
from inspections.catalogue import typical
from inspections.forms.defects import PaperField
from inspections.selectors.visit_hints import SUSPECTED, SUSPECTED_CODES, parted
from portfolio import words
from portfolio.forms.fields import Words
from portfolio.law import model as law
from portfolio.models import Certificate, Room, Unit
from portfolio.selectors.naming import rooms_called

GAS = "igem_g11"
PICTURES = "image/*,.heic"


class Several(forms.FileInput):
    allow_multiple_selected = True


class Sent(forms.Form):
    """`key` makes that sent twice is once. `at`: when it was recorded, by the clock of the phone."""

    key = forms.UUIDField(
        widget=forms.HiddenInput, error_messages={"required": "Load the page again: its key is missing."}
    )
    at = forms.DateTimeField(required=False, widget=forms.HiddenInput)


class AboutRoom(Sent):
    """`room` is the ref of a room; empty where it is none."""

    room = forms.ChoiceField(
        label="Room",
        required=False,
        error_messages={
            "invalid_choice": "This room is not on record. Send the room first, or choose another."
        },
    )

    def __init__(self, *args: Any, unit: Unit, **more: Any) -> None:
        super().__init__(*args, **more)
        self.rooms = {room.ref: room for room in unit.rooms.order_by("level", "pk")}
        called = rooms_called([unit.pk])
        named = [(ref, called[room.pk].full) for ref, room in self.rooms.items()]
        self.fields["room"].choices = [("", "Not in one room"), *named]  # type: ignore[attr-defined]

    def room_said(self) -> Room | None:
        return self.rooms.get(self.cleaned_data["room"])


class LookForm(AboutRoom):
    look = forms.ChoiceField(choices=words.choices(own.LOOK))
    says = forms.CharField(
        label="What could not be seen, and why",
        required=False,
        max_length=300,
    )

    def clean(self) -> dict[str, Any]:
        said = super().clean() or {}
        if said.get("look") == "not_seen" and not said.get("says"):
            self.add_error("says", "Say what could not be seen, and why.")
        return said

    def recorded(self) -> dict[str, Any]:
        """The arguments of `look_record`."""
        said = self.cleaned_data
        says = said["says"] if said["look"] == "not_seen" else ""
        return {
            "key": said["key"], "at": said["at"], "room": self.room_said(), "what": said["look"], "says": says
        }  # fmt: skip


class RoomForm(Sent):
    use = forms.ChoiceField(choices=words.choices(words.ROOM_USE))
    level = forms.IntegerField(label="Storey of the new room", required=False, min_value=-5, max_value=100)

    def recorded(self) -> dict[str, Any]:
        """The arguments of `room_add`."""
        return {name: self.cleaned_data[name] for name in ("key", "use", "level")}


class EndForm(forms.Form):
    says = Words(
        label="What else is to be said",
        required=False,
        max_length=4000,
        widget=forms.Textarea(attrs={"rows": 2}),
    )
    all_rooms = forms.BooleanField(label="These are all the rooms of the home", required=False)
    sure = forms.BooleanField(required=False, widget=forms.HiddenInput)


class PhotoForm(Sent):
    defect = forms.UUIDField()


def scheme_words() -> dict[str, str]:
    """The schemes in the order of the form; gas stands for both who may class it and who may not."""
    return {
        SUSPECTED if scheme == GAS else scheme: label.split(" (")[0] for scheme, label in words.SCHEME.items()
    }


def classes(scheme: str) -> list[tuple[str, str]]:
    codes: Sequence[str] = [code for code in law.CODES[scheme] if code != "NCS"]
    return [(f"{scheme}:{code}", words.CODE[code]) for code in codes]


class FoundForm(AboutRoom):
    """A defect as it is seen. The class is the inspector's; nothing here fills it in."""

    title = forms.CharField(
        label="What is wrong?",
        max_length=300,
        widget=forms.TextInput(attrs={"list": "typical", "autocomplete": "off"}),
        error_messages={"required": "Say what is wrong."},
    )
    place = forms.CharField(
        label="Exact place",
        required=False,
        max_length=200,
        widget=forms.TextInput(attrs={"placeholder": "Socket by the sink, circuit 4"}),
    )
    scheme = forms.ChoiceField(label="Kind", widget=forms.RadioSelect, required=False)
    code = forms.ChoiceField(
        label="Class",
        widget=forms.RadioSelect,
        error_messages={"required": "Choose a class.", "invalid_choice": "Choose a class from the list."},
    )
    said_by = forms.CharField(
        label="Gas engineer who classed it, with registration", required=False, max_length=200
    )
    certificate = PaperField(
        label="Or the gas record that says so",
        queryset=Certificate.objects.none(),
        required=False,
        empty_label="No paper",
    )
    note = Words(
        label="What else is to be said",
        required=False,
        max_length=4000,
        widget=forms.Textarea(attrs={"rows": 2}),
    )
    photo = forms.FileField(
        label="Take a photo",
        required=False,
        allow_empty_file=True,
        widget=forms.FileInput(attrs={"accept": "image/*", "capture": "environment"}),
    )
    photos = forms.FileField(
        label="Or choose photos",
        required=False,
        allow_empty_file=True,
        widget=Several(attrs={"accept": PICTURES, "multiple": True}),
    )

    def __init__(self, *args: Any, unit: Unit, gas_person: bool, **more: Any) -> None:
        super().__init__(*args, unit=unit, **more)
        self.gas_person = gas_person
        gas = unit.certificates.filter(kind="gas_safety_record").order_by("-pk")
        self.fields["certificate"].queryset = gas  # type: ignore[attr-defined]
        self.fields["scheme"].choices = list(scheme_words().items())  # type: ignore[attr-defined]
        self.fields["code"].choices = [choice for _, choices in self.groups() for choice in choices]  # type: ignore[attr-defined]

    def groups(self) -> list[tuple[str, list[tuple[str, str]]]]:
        """The classes under the scheme that shows them; those of gas engineers stand last of gas."""
        suspected = [(f"{SUSPECTED}:{code}", says) for code, says in SUSPECTED_CODES.items()]
        return [
            (SUSPECTED, ([] if self.gas_person else suspected) + classes(GAS))
            if scheme == SUSPECTED
            else (scheme, classes(scheme))
            for scheme in scheme_words()
        ]

    def clean(self) -> dict[str, Any]:
        said = super().clean() or {}
        code, scheme = said.get("code", ""), said.get("scheme", "")
        shown_under = SUSPECTED if code.startswith(f"{GAS}:") else code.partition(":")[0]
        if code and scheme and shown_under != scheme:
            self.add_error("code", f"Choose a class of: {scheme_words()[scheme]}.")
        by_engineer = self.gas_person or said.get("said_by") or said.get("certificate")
        if code.startswith(f"{GAS}:") and not by_engineer:
            self.add_error(
                "said_by",
                "Only a registered gas engineer classes a gas defect. Say who did, with their registration, or "
                "choose the suspected gas defect.",
            )
        return said

    def recorded(self) -> dict[str, Any]:
        """The arguments of `found_record`, besides the photos."""
        said = self.cleaned_data
        scheme, code, trade, suspected = parted(said["code"])
        known = _by_title(said["title"])
        if known is not None and not suspected and scheme != GAS:
            trade = known.trade
            suspected = trade == "gas" and not self.gas_person
        gas = scheme == GAS
        return {
            "key": said["key"], "at": said["at"], "title": said["title"], "room": self.room_said(),
            "place": said["place"], "scheme": scheme, "code": code, "trade": trade, "suspected": suspected,
            "said_by": said["said_by"] if gas else "", "certificate": said["certificate"] if gas else None,
            "note": said["note"], "typical": known.id if known else "",
        }  # fmt: skip


def _by_title(title: str) -> Any:
    """The typical defect of exactly this title, if there is one."""
    wanted = " ".join(title.split()).casefold()
    return next((one for one in typical().values() if one.title.casefold() == wanted), None)
