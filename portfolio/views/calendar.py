"""The calendar: two years ahead, month by month, and the list behind each of its numbers."""

import re
from datetime import date
from typing import Any

from django.core.paginator import Paginator
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from portfolio import access, clock
from portfolio.forms.fields import FIRST_DAY, LAST_DAY
from portfolio.law.loader import load
from portfolio.models import Unit
from portfolio.selectors.calendar import WHAT, month_end, month_lines, month_rows, requirement_title
from portfolio.selectors.calendar import calendar as calendar_of
from portfolio.selectors.reach import MOST_WORKED_OUT
from portfolio.views.home import DayForm

PER_PAGE = 50


@require_safe
def calendar(request: HttpRequest) -> HttpResponse:
    access.require(request.user, "see")
    shown = _asked(request)
    homes = Unit.objects.visible_to(request.user)
    found = calendar_of(homes, day=shown["day"], today=shown["today"])
    shown |= {"calendar": found, "worked_out": found.worked_out}
    return render(request, "portfolio/calendar.html", shown)


@require_safe
def calendar_month(request: HttpRequest, month: str) -> HttpResponse:
    """What is behind a number of the calendar: `?what=` which list, `?kind=` which requirement, `?only=` which day."""
    access.require(request.user, "see")
    shown = _asked(request)
    first = _first_of(month)
    if month_end(first) < shown["day"]:
        raise Http404
    what, kind = request.GET.get("what", "lapses"), request.GET.get("kind", "")
    if what not in WHAT or (kind and kind not in load().topics):
        raise Http404
    only = _day_in(first, request.GET.get("only", ""))
    homes = Unit.objects.visible_to(request.user)
    found = month_rows(homes, first, what, kind, day=shown["day"], today=shown["today"], only=only)
    page = Paginator(found.rows, PER_PAGE).get_page(request.GET.get("page"))
    shown |= {
        "first": first,
        "worked_out": found.worked_out,
        "what": what,
        "kind": requirement_title(kind) if kind else "",
        "only": only,
        "lists": WHAT,
        "page": page,
        "lines": month_lines(page.object_list, what),
    }
    return render(request, "portfolio/calendar_month.html", shown)


def _asked(request: HttpRequest) -> dict[str, Any]:
    today = clock.today()
    form = DayForm(request.GET)
    day: date = (form.cleaned_data["on"] if form.is_valid() else None) or today
    return {"form": form, "day": day, "today": today, "most": MOST_WORKED_OUT}


def _first_of(month: str) -> date:
    """The first day of a month written as 2027-03. Raises Http404 for what is no month we work with."""
    found = re.fullmatch(r"([0-9]{4})-(0[1-9]|1[0-2])", month)
    if found is None or not FIRST_DAY.year <= int(found[1]) <= LAST_DAY.year:
        raise Http404
    return date(int(found[1]), int(found[2]), 1)


def _day_in(first: date, said: str) -> date | None:
    """A day of this month, or None where none is said. Raises Http404 for any other."""
    if not said:
        return None
    try:
        day = date.fromisoformat(said)
    except ValueError as wrong:
        raise Http404 from wrong
    if day.replace(day=1) != first:
        raise Http404
    return day
