"""Choosing a spreadsheet to import."""

from django import forms


class SheetForm(forms.Form):
    upload = forms.FileField(
        label="Your list",
        help_text="An Excel workbook (.xlsx) or CSV. Nothing is stored before you have seen what it would do.",
        widget=forms.ClearableFileInput(attrs={"accept": ".xlsx,.csv,.txt,.tsv"}),
    )
