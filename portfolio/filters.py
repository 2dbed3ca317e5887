"""How the board is narrowed."""

from typing import Any

import django_filters
from django import forms
from django.core.exceptions import ValidationError
from django.db.models import Q, QuerySet

from portfolio.models import Building, Landlord, Unit
from portfolio.selectors.board import ANSWERS

WORDS_AT_MOST = 8
"""More words than this in one search are not looked for, so the form refuses them."""


def few_words(value: str) -> None:
    if len(value.split()) > WORDS_AT_MOST:
        raise ValidationError(f"Look for at most {WORDS_AT_MOST} words at once.")


def date_input() -> forms.DateInput:
    """A browser's own day picker; its value is an ISO day."""
    return forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d")


class HomesFilter(django_filters.FilterSet):
    on = django_filters.DateFilter(
        label="On the day",
        method="asked_later",
        widget=date_input(),
        help_text="A move-in day to come, or a day gone by. Left empty: today.",
    )
    answer = django_filters.ChoiceFilter(
        label="Answer",
        method="asked_later",
        empty_label="Every answer",
        choices=[(name, choice.words) for name, choice in ANSWERS.items()],
    )
    landlord = django_filters.ModelChoiceFilter(
        queryset=Landlord.objects.none(), empty_label="Every landlord"
    )
    building = django_filters.ModelChoiceFilter(
        queryset=Building.objects.none(), empty_label="Every building"
    )
    q = django_filters.CharFilter(
        label="Words",
        method="by_words",
        max_length=100,
        validators=[few_words],
        widget=forms.TextInput(attrs={"type": "search"}),
        help_text="In the name, address, postcode or ref.",
    )

    class Meta:
        model = Unit
        fields: list[str] = []

    def __init__(self, data: Any, queryset: "QuerySet[Unit]", *, user: Any, **more: Any) -> None:
        super().__init__(data, queryset, **more)
        buildings = Building.objects.filter(pk__in=Unit.objects.visible_to(user).values("building"))
        self.filters["building"].extra["queryset"] = buildings.order_by("name", "ref")
        self.filters["landlord"].extra["queryset"] = Landlord.objects.visible_to(user).order_by("name", "ref")
        if user.role == "landlord":
            del self.filters["landlord"]

    def asked_later(self, homes: "QuerySet[Unit]", name: str, value: Any) -> "QuerySet[Unit]":
        """The day and the answer are asked of the standings, not of the homes."""
        return homes

    def by_words(self, homes: "QuerySet[Unit]", name: str, value: str) -> "QuerySet[Unit]":
        """Every word somewhere in the home's names, address, postcode, refs or landlord."""
        for word in value.split():
            homes = homes.filter(
                Q(label__icontains=word)
                | Q(ref__icontains=word)
                | Q(building__name__icontains=word)
                | Q(building__ref__icontains=word)
                | Q(building__postcode__icontains=word)
                | Q(building__address__icontains=word)
                | Q(landlord__name__icontains=word)
            )
        return homes
