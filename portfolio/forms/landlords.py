"""How a landlord is reached."""

from django import forms


class ReachForm(forms.Form):
    email = forms.EmailField(
        label="E-mail",
        required=False,
        help_text="What the landlord is told goes there. Without one, only a log-in of theirs is told.",
    )
    phone = forms.CharField(label="Telephone", max_length=40, required=False)
