"""The board of homes, and what it shows as a download."""

from typing import Any

import django_tables2
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils.cache import patch_vary_headers
from django.views.decorators.http import require_safe

from portfolio import access, clock
from portfolio.filters import HomesFilter
from portfolio.selectors.board import ANSWERS, COUNTED, Board, board, homes_for
from portfolio.tables import DOWNLOAD_HEADINGS, HomesTable, download_row
from portfolio.views.downloads import sheet

PER_PAGE = 50
ORDERS = (
    ("", "By building and name"), ("landlord", "By landlord"), ("let", "Cannot be let first"),
    ("-let", "Can be let first"), ("sale", "Cannot be sold first"), ("-sale", "Can be sold first"),
    ("reason", "By first reason"),
)  # fmt: skip
"""For narrow screens, where a ledger has no headings to sort by."""


@require_safe
def homes(request: HttpRequest) -> HttpResponse:
    access.require(request.user, "see")
    shown = _shown(request)
    patch = request.htmx and not request.htmx.history_restore_request  # type: ignore[attr-defined]
    response = render(request, "portfolio/_board.html" if patch else "portfolio/homes.html", shown)
    patch_vary_headers(response, ["HX-Request"])
    return response


@require_safe
def homes_download(request: HttpRequest, form: str) -> HttpResponse:
    """What the board shows, every page of it, as CSV or XLSX."""
    access.require(request.user, "export")
    shown = _shown(request)
    rows = [download_row(row.record) for row in shown["table"].rows]
    day = shown["day"].isoformat()
    return sheet(form, f"homes-{day}", DOWNLOAD_HEADINGS, rows, f"Homes on {day}")


def _shown(request: HttpRequest) -> dict[str, Any]:
    today = clock.today()
    chosen = HomesFilter(request.GET or None, homes_for(request.user, today), request=request)
    asked = chosen.form.cleaned_data if chosen.is_bound and chosen.is_valid() else {}
    day = asked.get("on") or today
    answer = asked.get("answer") or ""
    found: Board = board(chosen.qs, answer=answer, day=day)
    own = ("landlord",) if getattr(request.user, "role", "") == "landlord" else ()
    table = HomesTable(found.units, day=day, asked=day != today, exclude=own)
    django_tables2.RequestConfig(request, paginate=False).configure(table)
    table.paginate(per_page=PER_PAGE)
    table.page = table.paginator.get_page(request.GET.get("page"))
    return {
        "filter": chosen,
        "orders": ORDERS,
        "table": table,
        "board": found,
        "tally": [(name, ANSWERS[name].words, found.counts[name]) for name in COUNTED],
        "answer": answer,
        "day": day,
        "today": today,
        "narrowed": any(value for key, value in asked.items() if key not in ("on", "q")),
        "chosen": any(value for key, value in asked.items() if key not in ("on", "answer")),
    }
