"""The law pages: what each nation asks, from which text, and what is not held. They hold nobody's data."""

from datetime import date

from django.contrib.auth.decorators import login_not_required
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from portfolio import clock
from portfolio.law.loader import load
from portfolio.selectors.law import nation_lines, nation_of, nation_page
from portfolio.templatetags.portfolio_pages import BASIS_MEANS
from portfolio.views.home import DayForm
from portfolio.views.limits import few_a_minute


@login_not_required
@require_safe
@few_a_minute
def law(request: HttpRequest) -> HttpResponse:
    page = {"nations": nation_lines(), "packs": load().packs, "bases": BASIS_MEANS}
    return render(request, "portfolio/law.html", page)


@login_not_required
@require_safe
@few_a_minute
def law_nation(request: HttpRequest, slug: str) -> HttpResponse:
    """What one nation asks, with the values that hold on a day marked."""
    nation = nation_of(slug)
    if nation is None:
        raise Http404
    today = clock.today()
    form = DayForm(request.GET)
    day: date = (form.cleaned_data["on"] if form.is_valid() else None) or today
    page = {
        "page": nation_page(nation, day),
        "nations": nation_lines(),
        "form": form,
        "day": day,
        "today": today,
    }
    return render(request, "portfolio/law_nation.html", page)
