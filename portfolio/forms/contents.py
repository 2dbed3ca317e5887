"""What is in a home, as three lists: rooms, appliances, alarms.

Each list is in one of three states: not recorded, these and no others, or none. Every row carries its ref;
the blank rows at the end already have the refs they will get, so that an alarm can be put in a room which is
being added in the same go. Works without scripts.
"""

from collections.abc import Sequence
from typing import Any

from django import forms

from portfolio import words
from portfolio.filters import date_input
from portfolio.forms.fields import Day, Word, YesNo
from portfolio.law import model as law

LISTED = {"listed": "These, and no others", "none": "There are none", "": "Not recorded"}


class Row(forms.Form):
    ref = forms.CharField(widget=forms.HiddenInput, max_length=100)
    fresh = False

    def is_blank(self) -> bool:
        """A row for something new in which nothing was filled in."""
        said = self.cleaned_data
        return self.fresh and all(
            said.get(name) in (None, "", False) for name in self.fields if name != "ref"
        )


class RoomRow(Row):
    use = Word(words.ROOM_USE, label="Room")
    level = forms.IntegerField(label="Storey (ground floor: 0)", required=False, min_value=-9, max_value=200)

    def fact(self) -> law.Room:
        said = self.cleaned_data
        return law.Room(said["ref"], said["level"], said["use"])


class ApplianceRow(Row):
    kind = Word(words.APPLIANCE, label="Kind")
    room = Word({}, label="In the room")
    owner = Word(words.OWNER, label="Whose")
    installed = Day(label="Installed", required=False, widget=date_input())

    def fact(self) -> law.Appliance:
        said = self.cleaned_data
        return law.Appliance(said["ref"], said["kind"], said["room"], said["owner"], said["installed"])


class AlarmRow(Row):
    kind = Word(words.ALARM, label="Kind")
    room = Word({}, label="In the room")
    power = Word(words.POWER, label="Power")
    working = YesNo(label="Does it work?")
    interlinked = YesNo(label="Linked to the others?")
    replace_by = Day(label="Replace by", required=False, widget=date_input())
    tested_on = Day(
        label="Tested on", required=False, widget=date_input(), help_text="A new test; earlier ones are kept."
    )

    def fact(self, tested: tuple[Any, ...] | None) -> law.Alarm:
        said = self.cleaned_data
        days = sorted({*(tested or ()), *([said["tested_on"]] if said["tested_on"] else [])})
        return law.Alarm(
            ref=said["ref"],
            kind=said["kind"],
            room=said["room"],
            power=said["power"],
            interlinked=said["interlinked"],
            working=said["working"],
            replace_by=said["replace_by"],
            tested=tuple(days) if days or tested is not None else None,
        )


ROWS: dict[str, type[Row]] = {"rooms": RoomRow, "appliances": ApplianceRow, "alarms": AlarmRow}
LABELS = {"rooms": "Rooms", "appliances": "Heating and cooking appliances", "alarms": "Alarms"}


class ListForm(forms.Form):
    """One of the three lists: its state, a row for each thing in it, and a few blank rows."""

    def __init__(
        self,
        name: str,
        stored: Sequence[Any] | None,
        fresh_refs: Sequence[str],
        data: Any,
        rooms: Sequence[tuple[str, str]],
        found: Sequence[Any] = (),
    ) -> None:
        """`stored`: the facts held (None: not recorded). `rooms`: ref and words of each there is or may be.

        `found`: what is on record where nothing is `stored`, as nobody has said that it is all.
        """
        super().__init__(data, prefix=name)
        self.name, self.label, self.some = name, LABELS[name], bool(found)
        self.stored = {item.ref: item for item in stored or found if stored or self._was_shown(item.ref)}
        self.fields["state"] = forms.ChoiceField(
            label="What is on record",
            choices=[(code, said) for code, said in LISTED.items()],
            required=False,
            widget=forms.RadioSelect,
            initial="" if stored is None else "listed" if stored else "none",
        )
        self.rows = [self._row(ref, rooms, fresh=False) for ref in self.stored]
        self.rows += [self._row(ref, rooms, fresh=True) for ref in fresh_refs]

    def _was_shown(self, ref: str) -> bool:
        """Was it on the page that is sent? A visit may have added it meanwhile, and then it stays as it is."""
        return not self.is_bound or f"{self.name}-{ref}-ref" in self.data

    def _row(self, ref: str, rooms: Sequence[tuple[str, str]], *, fresh: bool) -> Row:
        initial = {"ref": ref}
        if not fresh:
            item = self.stored[ref]
            initial |= {key: getattr(item, key) for key in ROWS[self.name].base_fields if hasattr(item, key)}
        row = ROWS[self.name](
            self.data if self.is_bound else None, prefix=f"{self.name}-{ref}", initial=initial
        )
        row.fresh = fresh
        row.fields["ref"].initial = ref
        if "room" in row.fields:
            row.fields["room"].choices = [("", "Not recorded"), *rooms]  # type: ignore[attr-defined]
        if not fresh:
            row.fields["removed"] = forms.BooleanField(label="It is gone", required=False)
        return row

    def is_valid(self) -> bool:
        rows_valid = all([row.is_valid() for row in self.rows])
        return super().is_valid() and rows_valid

    def clean(self) -> dict[str, Any]:
        said = super().clean() or {}
        if all([row.is_valid() for row in self.rows]):
            filled = bool(self._kept())
            if self.some and said.get("state") == "":
                if any(row.has_changed() for row in self.rows):
                    self.add_error(
                        "state",
                        "What is listed below is changed: choose ‘these, and no others’, or leave it as it was.",
                    )
            elif filled and said.get("state") == "":
                self.add_error(
                    "state", "Things are listed below: choose ‘these, and no others’, or tick them as gone."
                )
            if filled and said.get("state") == "none":
                self.add_error(
                    "state", "You say that there are none, yet some are listed below: tick them as gone."
                )
            if not filled and said.get("state") == "listed":
                self.add_error("state", "Nothing is listed below: fill in a row, or choose ‘there are none’.")
        return said

    def _kept(self) -> list[Row]:
        return [row for row in self.rows if not row.is_blank() and not row.cleaned_data.get("removed")]

    def gone(self) -> list[str]:
        """The refs of what is ticked as gone."""
        return [row.cleaned_data["ref"] for row in self.rows if row.cleaned_data.get("removed")]

    def facts(self) -> tuple[Any, ...] | None:
        """The whole list as it should be on record from now on."""
        if self.cleaned_data["state"] == "":
            return None
        found = []
        for row in self._kept():
            if isinstance(row, AlarmRow):
                held = self.stored.get(row.cleaned_data["ref"])
                found.append(row.fact(held.tested if held else None))
            else:
                found.append(row.fact())  # type: ignore[attr-defined]
        return tuple(found)
