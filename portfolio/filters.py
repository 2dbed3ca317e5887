"""How the board is narrowed."""

from typing import Any

import django_filters
from django import forms
from django.core.exceptions import ValidationError
from django.db.models import Q, QuerySet
from django.http import HttpRequest

from portfolio import words
from portfolio.forms.fields import Day
from portfolio.law.loader import load
from portfolio.models import Building, Landlord, Unit
from portfolio.selectors.board import ANSWERS
from portfolio.selectors.duties import WHEN
from portfolio.selectors.law import duty_titles

WORDS_AT_MOST = 8
"""More words than this in one search are not looked for, so the form refuses them."""


def few_words(value: str) -> None:
    if len(value.split()) > WORDS_AT_MOST:
        raise ValidationError(f"Look for at most {WORDS_AT_MOST} words at once.")


def date_input() -> forms.DateInput:
    """A browser's own day picker; its value is an ISO day."""
    return forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d")


def landlords(request: HttpRequest) -> "QuerySet[Landlord]":
    return Landlord.objects.visible_to(request.user).order_by("name", "ref")


def buildings(request: HttpRequest) -> "QuerySet[Building]":
    """Those with a home that the person may see."""
    seen = Unit.objects.visible_to(request.user).values("building")
    return Building.objects.filter(pk__in=seen).order_by("name", "ref")


class DayFilter(django_filters.DateFilter):
    field_class = Day


class HomesFilter(django_filters.FilterSet):
    on = DayFilter(
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
    landlord = django_filters.ModelChoiceFilter(queryset=landlords, empty_label="Every landlord")
    building = django_filters.ModelChoiceFilter(queryset=buildings, empty_label="Every building")
    q = django_filters.CharFilter(
        label="Search",
        method="by_words",
        max_length=100,
        validators=[few_words],
        widget=forms.TextInput(attrs={"type": "search"}),
        help_text="Name, address, postcode, landlord or ref.",
    )

    class Meta:
        model = Unit
        fields: list[str] = []

    def __init__(self, data: Any, queryset: "QuerySet[Unit]", *, request: HttpRequest) -> None:
        super().__init__(data, queryset, request=request)
        if getattr(request.user, "role", "") == "landlord":
            del self.filters["landlord"]

    def asked_later(self, homes: "QuerySet[Unit]", name: str, value: Any) -> "QuerySet[Unit]":
        """The day and the answer are asked of the standings, not of the homes."""
        return homes

    def by_words(self, homes: "QuerySet[Unit]", name: str, value: str) -> "QuerySet[Unit]":
        """Every word somewhere in the home's names, address, postcode, refs or landlord."""
        for word in value.split():
            homes = homes.filter(of_home(word))
        return homes


HOME_WORDS = ("label", "ref", "landlord__name") + tuple(
    f"building__{name}" for name in ("name", "ref", "postcode", "address")
)
"""Where a home, or its landlord, is searched for words."""


def of_home(word: str, path: str = "") -> Q:
    """The condition (on Unit, or on what leads to it by `path`) that a word stands somewhere in what names a home."""
    return Q(*((f"{path}{name}__icontains", word) for name in HOME_WORDS), _connector=Q.OR)


def kinds_of_duty() -> list[tuple[str, list[tuple[str, str]]]]:
    """Every duty the law packs hold, under the title of its pack."""
    found = []
    for pack in load().packs:
        titles = duty_titles(pack.topics)
        if titles:
            found.append((pack.title, sorted(titles.items(), key=lambda one: one[1])))
    return found


class DutiesFilter(HomesFilter):
    """The same homes, and which of their duties."""

    answer = None
    when = django_filters.ChoiceFilter(
        label="When",
        method="asked_later",
        empty_label="Any day",
        choices=[(name, one.words) for name, one in WHEN.items()],
    )
    party = django_filters.ChoiceFilter(
        label="For whom", method="asked_later", empty_label="Anybody", choices=words.choices(words.PARTY)
    )
    kind = django_filters.ChoiceFilter(
        label="What is due", method="asked_later", empty_label="Everything", choices=kinds_of_duty
    )
