"""The list of duties over all homes, and what it shows as a download."""

from typing import Any

from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from portfolio import access, clock
from portfolio.filters import DutiesFilter
from portfolio.models import Unit
from portfolio.selectors.duties import DOWNLOAD_HEADINGS, WHEN, Wanted, download_rows, duty_lines
from portfolio.selectors.duties import duties as duties_of
from portfolio.selectors.reach import MOST_WORKED_OUT
from portfolio.views.downloads import sheet

PER_PAGE = 50


@require_safe
def duties(request: HttpRequest) -> HttpResponse:
    access.require(request.user, "see")
    shown = _shown(request)
    page = Paginator(shown["duties"].rows, PER_PAGE).get_page(request.GET.get("page"))
    shown |= {"page": page, "lines": duty_lines(page.object_list, day=shown["day"]), "most": MOST_WORKED_OUT}
    return render(request, "portfolio/duties.html", shown)


@require_safe
def duties_download(request: HttpRequest, form: str) -> HttpResponse:
    """What the list shows, every page of it, as CSV or XLSX."""
    access.require(request.user, "export")
    shown = _shown(request)
    day = shown["day"].isoformat()
    rows = download_rows(shown["duties"].rows, shown["filter"].qs, day=shown["day"])
    return sheet(form, f"duties-{day}", DOWNLOAD_HEADINGS, rows, f"Duties on {day}")


def _shown(request: HttpRequest) -> dict[str, Any]:
    today = clock.today()
    chosen = DutiesFilter(request.GET or None, Unit.objects.visible_to(request.user), request=request)
    asked = chosen.form.cleaned_data if chosen.is_bound and chosen.is_valid() else {}
    day = asked.get("on") or today
    wanted = Wanted(**{name: asked.get(name) or "" for name in ("when", "party", "kind")})
    found = duties_of(chosen.qs, wanted, day=day, today=today)
    return {
        "filter": chosen,
        "duties": found,
        "tally": [(name, one.words, found.counts[name]) for name, one in WHEN.items()],
        "when": wanted.when,
        "day": day,
        "today": today,
        "narrowed": any(value for key, value in asked.items() if key not in ("on", "q", "when")),
    }
