"""How the list of messages is narrowed."""

from typing import Any

from django import forms

from notifications.words import STATE
from portfolio.filters import few_words


class FindMessages(forms.Form):
    q = forms.CharField(
        label="Search",
        required=False,
        max_length=100,
        validators=[few_words],
        widget=forms.TextInput(attrs={"type": "search"}),
        help_text="Subject, reader, address or reason.",
    )
    state = forms.ChoiceField(
        label="State",
        required=False,
        choices=[("", "Every state"), ("trouble", "Refused or unclear"), *STATE.items()],
    )
    kind = forms.ChoiceField(label="About", required=False)

    def __init__(self, *args: Any, kinds: list[tuple[str, str]], **more: Any) -> None:
        super().__init__(*args, **more)
        self.fields["kind"].choices = [("", "Everything"), *kinds]  # type: ignore[attr-defined]
