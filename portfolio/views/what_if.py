"""What if: announced law taken as in force, and the homes it would bar."""

from datetime import date
from typing import Any

from django import forms
from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from portfolio import access, clock
from portfolio.filters import date_input
from portfolio.forms.fields import Day
from portfolio.models import Unit
from portfolio.selectors.reach import MOST_WORKED_OUT
from portfolio.selectors.what_if import Assumable, assumable, barred_lines
from portfolio.selectors.what_if import what_if as what_if_of

PER_PAGE = 50


class WhatIfForm(forms.Form):
    """Which announced law, from which day on, and the day the homes are asked about."""

    assume = forms.ChoiceField(label="Announced law")
    begins = Day(
        label="Taken to begin on",
        required=False,
        widget=date_input(),
        help_text="Left empty: the day announced, or today where none is.",
    )
    on = Day(
        label="Homes asked about",
        required=False,
        widget=date_input(),
        help_text="Left empty: the day it is taken to begin.",
    )

    def __init__(self, data: Any, known: dict[str, Assumable]) -> None:
        super().__init__(data)
        listed = [(name, f"{one.entry.says} ({one.nations})") for name, one in known.items()]
        field: Any = self.fields["assume"]
        field.choices = [("", "Choose one"), *listed]


@require_safe
def what_if(request: HttpRequest) -> HttpResponse:
    access.require(request.user, "see")
    today, known = clock.today(), assumable()
    form = WhatIfForm(request.GET or None, known)
    page: dict[str, Any] = {"form": form, "known": known, "today": today, "most": MOST_WORKED_OUT}
    if form.is_valid():
        chosen = known[form.cleaned_data["assume"]]
        begins: date = form.cleaned_data["begins"] or chosen.entry.start or today
        page |= {"chosen": chosen, "begins": begins, "day": form.cleaned_data["on"] or begins}
        homes = Unit.objects.visible_to(request.user)
        page["found"] = what_if_of(homes, chosen.entry.id, begins, page["day"])
        if page["found"] is not None:
            page["page"] = Paginator(page["found"].barred, PER_PAGE).get_page(request.GET.get("page"))
            page["lines"] = barred_lines(page["page"].object_list)
    return render(request, "portfolio/what_if.html", page)
