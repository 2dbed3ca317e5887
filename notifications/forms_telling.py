"""How a person says how to be told, and an agent how early."""

from collections.abc import Mapping
from typing import Any

from django import forms
from django.core.exceptions import ValidationError

from notifications import leads
from notifications.models import Telling
from notifications.reminders.lead_times import defaults
from notifications.telling import WEEK
from notifications.words import ABOUT, MAY_BE_OFF, REACHES
from portfolio.filters import few_words


class TellingForm(forms.Form):
    """`wanted` holds the kinds that are wanted; what is kept are those that are not."""

    digest = forms.TypedChoiceField(
        label="The digest",
        choices=[("yes", "Write me one mail a day when there is something to say"), ("no", "No digest")],
        coerce=lambda said: said == "yes",
        widget=forms.RadioSelect,
        help_text="Without it, nobody reminds you of the subjects below; they are on the site all the same.",
    )
    hour = forms.TypedChoiceField(
        label="From which hour",
        choices=[(hour, f"{hour:02}:00") for hour in range(24)],
        coerce=int,
        help_text="In London. It comes within a quarter of an hour or so.",
    )
    quiet_days = forms.TypedMultipleChoiceField(
        label="Quiet days",
        choices=list(enumerate(WEEK)),
        coerce=int,
        required=False,
        widget=forms.CheckboxSelectMultiple,
        help_text="On these no digest is written. The next one says what is still true.",
    )
    wanted = forms.MultipleChoiceField(
        label="What you are told of",
        required=False,
        widget=forms.CheckboxSelectMultiple,
    )

    def __init__(self, data: Any, *, telling: Telling, role: str) -> None:
        reaches = REACHES[role]
        initial = {
            "digest": "yes" if telling.digest else "no",
            "hour": telling.hour,
            "quiet_days": telling.quiet_days,
            "wanted": [kind for kind in reaches if kind not in telling.off],
        }
        super().__init__(data, initial=initial)
        self.reaches = reaches
        self.fields["wanted"].choices = [(kind, _kind(kind)) for kind in reaches]  # type: ignore[attr-defined]

    def wishes(self) -> dict[str, Any]:
        """What was typed in, as `telling_set` takes it."""
        said = dict(self.cleaned_data)
        wanted = said.pop("wanted")
        return said | {"off": [kind for kind in self.reaches if kind not in wanted]}


def _kind(kind: str) -> str:
    return MAY_BE_OFF[kind] if kind in ABOUT else f"{MAY_BE_OFF[kind]} (a mail of its own, at once)"


class LeadTimesForm(forms.Form):
    """A box for each kind; empty for the usual days.

    What was shown goes along hidden, so that a page which others have overtaken changes only what was changed in it.
    """

    def __init__(self, data: Any, *, own: Mapping[str, tuple[int, ...]]) -> None:
        super().__init__(data)
        for kind, name in leads.kinds().items():
            self.fields[kind] = forms.CharField(
                label=name,
                required=False,
                max_length=100,
                strip=True,
                initial=leads.as_text(own.get(kind, ())),
                show_hidden_initial=True,
                help_text=f"Usual: {leads.as_text(defaults()[kind])}",
                widget=forms.TextInput(attrs={"inputmode": "text", "autocomplete": "off"}),
            )

    def clean(self) -> dict[str, Any]:
        """Each box as days, or None where it is empty."""
        said = self.cleaned_data
        for kind in list(said):
            try:
                said[kind] = leads.parsed(said[kind]) if said[kind] else None
            except ValidationError as wrong:
                self.add_error(kind, wrong)
        return said

    def changes(self) -> dict[str, tuple[int, ...] | None]:
        return {kind: self.cleaned_data[kind] for kind in self.changed_data}


class FindReaders(forms.Form):
    """How the list of who is told, and who not, is narrowed."""

    q = forms.CharField(
        label="Search",
        required=False,
        max_length=100,
        validators=[few_words],
        widget=forms.TextInput(attrs={"type": "search"}),
        help_text="Name or address.",
    )
    why = forms.ChoiceField(label="Kept from being told", required=False)
    home = forms.IntegerField(required=False, min_value=1, max_value=2**31 - 1, widget=forms.HiddenInput)

    def __init__(self, *args: Any, whys: Mapping[str, str], **more: Any) -> None:
        super().__init__(*args, **more)
        self.fields["why"].choices = [("", "Everybody, kept or not"), *whys.items()]  # type: ignore[attr-defined]
