"""The observations of a report, typed or pasted."""

import hashlib
from typing import Any

from django import forms

from portfolio.forms.fields import Words

MOST_CHARACTERS = 60_000


class ObservationsForm(forms.Form):
    """`seen` stands for the text that was last shown as it would be taken."""

    text = Words(
        label="Observations",
        max_length=MOST_CHARACTERS,
        strip=False,
        widget=forms.Textarea(attrs={"rows": 12, "spellcheck": "false"}),
        help_text="One a line: class, what is wrong, where. Or paste the rows of the table in the report.",
        error_messages={"required": "Write or paste at least one observation."},
    )
    seen = forms.CharField(required=False, widget=forms.HiddenInput)

    @property
    def mark(self) -> str:
        """Stands for the text that was sent."""
        said: Any = self.cleaned_data["text"]
        return hashlib.sha256(said.encode()).hexdigest()[:16]

    @property
    def was_seen(self) -> bool:
        return self.cleaned_data["seen"] == self.mark
