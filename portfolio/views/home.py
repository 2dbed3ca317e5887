"""The page of one home, its whole record of events, and the day it is asked about."""

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
from portfolio.selectors.home import HomePage, events_of, home_page
from portfolio.selectors.law import slug_of

EVENTS_PER_PAGE = 100
ELSEWHERE = {"import", "export"}
"""What is offered beside an earlier record, which is itself for reading only."""


class DayForm(forms.Form):
    """The day a page is asked about; none means today."""

    on = Day(label="On the day", required=False, widget=date_input())


class KnownForm(forms.Form):
    """The day at whose end the record is looked at; none means as it stands now."""

    known = Day(
        label="As we knew it on",
        required=False,
        widget=date_input(),
        help_text="Leaves out whatever was recorded after that day.",
    )

    def __init__(self, *args: Any, today: date, **more: Any) -> None:
        super().__init__(*args, **more)
        self.today = today

    def clean_known(self) -> date | None:
        known: date | None = self.cleaned_data["known"]
        if known is not None and known > self.today:
            raise forms.ValidationError("This day lies in the future: nothing is known of it yet.")
        return known


class HomeDayForm(KnownForm, DayForm):
    """Both days."""


@require_safe
def home(request: HttpRequest, pk: int) -> HttpResponse:
    unit = unit_or_404(request, pk)
    today = clock.today()
    form = HomeDayForm(request.GET, today=today)
    asked = form.cleaned_data if form.is_valid() else {}
    known: date | None = asked.get("known")
    day: date = asked.get("on") or known or today
    page = home_page(unit, day=day, today=today, known=known)
    context: dict[str, Any] = {
        "page": page, "home": unit, "day": day, "today": today, "known": known, "form": form,
        "law_slug": page and page.facts[0].nation and slug_of(page.facts[0].nation),
    }  # fmt: skip
    if known is not None:
        context["can"] = access.MAY[request.user.role] & ELSEWHERE  # type: ignore[union-attr]
        if page is None or not _is_theirs(request, page):
            return render(request, "portfolio/home_not_yet.html", context)
    return render(request, "portfolio/home.html", context)


def _is_theirs(request: HttpRequest, page: HomePage) -> bool:
    """A landlord sees nothing of the time when a home was somebody else's."""
    role, landlord = getattr(request.user, "role", ""), getattr(request.user, "landlord_id", None)
    return role != "landlord" or (page.landlord is not None and page.landlord.pk == landlord)


@require_safe
def home_events(request: HttpRequest, pk: int) -> HttpResponse:
    """Lines say when they were written, so an earlier record is the same list without its newest lines."""
    unit = unit_or_404(request, pk)
    form = KnownForm(request.GET, today=clock.today())
    known: date | None = form.cleaned_data["known"] if form.is_valid() else None
    lines = events_of(unit, None if known is None else clock.end_of(known))
    page = Paginator(lines, EVENTS_PER_PAGE).get_page(request.GET.get("page"))
    context = {"home": unit, "page": page, "form": form, "known": known}
    return render(request, "portfolio/home_events.html", context)


def unit_or_404(request: HttpRequest, pk: int, to: str = "see") -> Unit:
    """A home the person may see and do this with; anything else is 404."""
    access.require(request.user, to)
    return access.get_or_404(Unit.objects.select_related("building", "landlord"), request.user, pk=pk)
