"""Why a danger counts no longer."""

from django import forms


class DangerForm(forms.Form):
    why = forms.CharField(
        label="Why does the danger count no longer?",
        max_length=300,
        required=False,
        help_text="Such as: the boiler was taken out and scrapped. It is kept in the record.",
    )
