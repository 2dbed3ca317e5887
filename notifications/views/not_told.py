"""Who is told, who is not, and why: of an agency, or about one home."""

from typing import Any

from django.contrib import messages as notices
from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_POST, require_safe

from notifications import not_told as shown
from notifications import services
from notifications.forms_telling import FindReaders
from notifications.models import RefusedAddress
from notifications.not_told_lists import WHY, lists_of
from portfolio import access, clock
from portfolio.models import Unit

PER_PAGE = 50


@require_safe
def not_told(request: HttpRequest) -> HttpResponse:
    access.require(request.user, "see_messages")
    user: Any = request.user
    moment = clock.moment()
    form = FindReaders(request.GET or None, whys=WHY)
    asked = form.cleaned_data if form.is_bound and form.is_valid() else {}
    home = access.get_or_404(Unit.objects.all(), user, pk=asked["home"]) if asked.get("home") else None
    lists = lists_of(user.agency_id, q=asked.get("q", ""), home=home, at=moment.at)
    why = asked.get("why", "")
    found: Any = lists.chain(why)
    page = Paginator(found, PER_PAGE).get_page(request.GET.get("page"))
    counts = lists.counts()
    told = {
        "form": form,
        "home": home,
        "page": page,
        "rows": shown.rows(page.object_list, user.agency_id, moment),
        "why": why,
        "tally": [(key, name, counts[key]) for key, name in WHY.items()],
    }
    return render(request, "notifications/not_told.html", told)


@require_POST
def address_try_again(request: HttpRequest, pk: int) -> HttpResponse:
    access.require(request.user, "see_messages")
    user: Any = request.user
    refused = get_object_or_404(RefusedAddress, agency=user.agency_id, pk=pk)
    try:
        services.address_try_again(refused.pk, actor=user, moment=clock.moment())
    except services.NotPossible as why:
        notices.error(request, str(why))
    else:
        notices.success(
            request,
            f"{refused.email} is written to again. What was withdrawn meanwhile is not sent by this; if the mail "
            "server refuses the next message too, it is marked anew.",
        )
    return redirect("not_told")
