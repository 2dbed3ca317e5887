"""How the list of open defects is narrowed."""

from typing import Any

import django_filters
from django import forms
from django.db.models import Q, QuerySet
from django.http import HttpRequest

from inspections import words as own
from inspections.models import Contractor, Defect
from inspections.selectors.open_defects import STATE, WHEN, of_trade
from portfolio import access, words
from portfolio.filters import few_words, landlords, of_home


def contractors(request: HttpRequest) -> "QuerySet[Contractor]":
    return Contractor.objects.visible_to(request.user).order_by("name")


class DefectsFilter(django_filters.FilterSet):
    q = django_filters.CharFilter(
        label="Search",
        method="by_words",
        max_length=100,
        validators=[few_words],
        widget=forms.TextInput(attrs={"type": "search"}),
        help_text="Home, address, postcode, ref, or what is wrong.",
    )
    when = django_filters.ChoiceFilter(
        label="Last day",
        method="asked_later",
        empty_label="Any day",
        choices=[(name, one.words) for name, one in WHEN.items()],
    )
    state = django_filters.ChoiceFilter(
        label="State",
        method="by_state",
        empty_label="Any state",
        choices=[(name, says) for name, (says, _) in STATE.items()],
    )
    trade = django_filters.ChoiceFilter(
        label="Who mends it", method="by_trade", empty_label="Any trade", choices=words.choices(own.TRADE)
    )
    scheme = django_filters.ChoiceFilter(
        label="Kind", empty_label="Every kind", choices=words.choices(words.SCHEME)
    )
    landlord = django_filters.ModelChoiceFilter(
        label="Landlord", field_name="unit__landlord", queryset=landlords, empty_label="Every landlord"
    )
    contractor = django_filters.ModelChoiceFilter(
        label="Contractor", method="by_contractor", queryset=contractors, empty_label="Any contractor"
    )

    class Meta:
        model = Defect
        fields: list[str] = []

    def __init__(self, data: Any, queryset: "QuerySet[Defect]", *, request: HttpRequest) -> None:
        super().__init__(data, queryset, request=request)
        if getattr(request.user, "role", "") == "landlord":
            del self.filters["landlord"]
        if not access.may(request.user, "see_jobs"):
            del self.filters["contractor"]

    def asked_later(self, defects: "QuerySet[Defect]", name: str, value: Any) -> "QuerySet[Defect]":
        """The last day is worked out, not stored."""
        return defects

    def by_state(self, defects: "QuerySet[Defect]", name: str, value: str) -> "QuerySet[Defect]":
        return defects.filter(STATE[value][1])

    def by_trade(self, defects: "QuerySet[Defect]", name: str, value: str) -> "QuerySet[Defect]":
        return defects.filter(of_trade(value))

    def by_contractor(self, defects: "QuerySet[Defect]", name: str, value: Contractor) -> "QuerySet[Defect]":
        """With them now, or said to be done by them."""
        with_them = value.jobs.filter(items__ended_at=None).values("items__defect")
        return defects.filter(Q(pk__in=with_them) | Q(completed__isnull=False, completed_for=value))

    def by_words(self, defects: "QuerySet[Defect]", name: str, value: str) -> "QuerySet[Defect]":
        """Every word somewhere in what is wrong, or in the home's names, address, postcode, refs or landlord."""
        for word in value.split():
            here = Q(title__icontains=word) | Q(place__icontains=word)
            defects = defects.filter(here | of_home(word, "unit__"))
        return defects
