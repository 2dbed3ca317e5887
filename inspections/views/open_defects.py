"""All open defects, narrowed as asked, and what is shown as a download."""

from typing import Any

from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from inspections.filters import DefectsFilter
from inspections.models import Defect
from inspections.selectors.open_defects import DOWNLOAD_HEADINGS, WHEN, download_rows, ranked, rows_of
from portfolio import access, clock
from portfolio.views.downloads import sheet

PER_PAGE = 50


@require_safe
def open_defects(request: HttpRequest) -> HttpResponse:
    access.require(request.user, "see")
    shown = _shown(request)
    page = Paginator(shown["found"].ids, PER_PAGE).get_page(request.GET.get("page"))
    shown |= {"page": page, "rows": rows_of(page.object_list, shown["found"], shown["today"])}
    return render(request, "inspections/open_defects.html", shown)


@require_safe
def defects_download(request: HttpRequest, form: str) -> HttpResponse:
    """What the list shows, every page of it, as CSV or XLSX."""
    access.require(request.user, "export")
    shown = _shown(request)
    day = shown["today"]
    rows = download_rows(shown["found"], day)
    return sheet(
        form, f"defects-{day.isoformat()}", DOWNLOAD_HEADINGS, rows, f"Open defects on {day.isoformat()}"
    )


def _shown(request: HttpRequest) -> dict[str, Any]:
    today = clock.today()
    mine = Defect.objects.visible_to(request.user)
    chosen = DefectsFilter(request.GET or None, mine, request=request)
    asked = chosen.form.cleaned_data if chosen.is_bound and chosen.is_valid() else {}
    when = asked.get("when") or ""
    found = ranked(chosen.qs, when, today)
    return {
        "filter": chosen,
        "found": found,
        "tally": [(name, one.words, found.late[name]) for name, one in WHEN.items()],
        "when": when,
        "today": today,
        "narrowed": any(value for key, value in asked.items() if key not in ("q", "when", "state")),
    }
