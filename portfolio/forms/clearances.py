"""Setting and taking back a mark."""

from django import forms

from portfolio import words


class PurposeForm(forms.Form):
    purpose = forms.ChoiceField(choices=words.choices(words.PURPOSE))


class UnmarkForm(PurposeForm):
    why = forms.CharField(
        label="Why is the mark taken back?",
        max_length=500,
        error_messages={"required": "Say why the mark is taken back: the reason is kept."},
    )
