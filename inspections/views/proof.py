"""The list of work that is said to be done and waits to be confirmed."""

from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from inspections.selectors.papers_lacking import lacking_for
from inspections.selectors.proof import proofs, to_confirm
from portfolio import access, clock

PER_PAGE = 50


@require_safe
def proof(request: HttpRequest) -> HttpResponse:
    access.require(request.user, "see")
    moment = clock.moment()
    page = Paginator(to_confirm(request.user), PER_PAGE).get_page(request.GET.get("page"))
    found = proofs(list(page.object_list), request.user, moment)
    shown = {"page": page, "rows": found, "lacking": lacking_for(request.user)}
    return render(request, "inspections/proof.html", shown)
