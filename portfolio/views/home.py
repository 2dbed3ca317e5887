"""The page of one home, its whole record of events, and the day it is asked about."""

from datetime import date

from django import forms
from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from portfolio import access, clock
from portfolio.filters import date_input
from portfolio.forms.fields import Day
from portfolio.models import Unit
from portfolio.selectors.home import events_of, home_page

EVENTS_PER_PAGE = 100


class DayForm(forms.Form):
    """The day a page is asked about; none means today."""

    on = Day(label="On the day", required=False, widget=date_input())


@require_safe
def home(request: HttpRequest, pk: int) -> HttpResponse:
    unit = unit_or_404(request, pk)
    today = clock.today()
    form = DayForm(request.GET)
    day: date = (form.cleaned_data["on"] if form.is_valid() else None) or today
    page = home_page(unit, day=day, today=today)
    return render(
        request, "portfolio/home.html", {"page": page, "home": unit, "day": day, "today": today, "form": form}
    )


@require_safe
def home_events(request: HttpRequest, pk: int) -> HttpResponse:
    unit = unit_or_404(request, pk)
    page = Paginator(events_of(unit), EVENTS_PER_PAGE).get_page(request.GET.get("page"))
    return render(request, "portfolio/home_events.html", {"home": unit, "page": page})


def unit_or_404(request: HttpRequest, pk: int, to: str = "see") -> Unit:
    """A home the person may see and do this with; anything else is 404."""
    access.require(request.user, to)
    return access.get_or_404(Unit.objects.select_related("building", "landlord"), request.user, pk=pk)
