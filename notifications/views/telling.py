"""How a person asks to be told, and how early an agency wants to be."""

from collections.abc import Mapping
from typing import Any

from django.contrib import messages as notices
from django.core.exceptions import ValidationError
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_http_methods

from notifications import leads
from notifications import telling as service
from notifications.forms_telling import LeadTimesForm, TellingForm
from notifications.not_told import refused_among, refused_words
from portfolio import access, clock


@require_http_methods(["GET", "HEAD", "POST"])
def telling(request: HttpRequest) -> HttpResponse:
    """One's own, whatever the role."""
    access.require(request.user, "see")
    user: Any = request.user
    held = service.of(user)
    form = TellingForm(request.POST or None, telling=held, role=user.role)
    if form.is_bound and form.is_valid():
        try:
            service.telling_set(**form.wishes(), actor=user, moment=clock.moment())
        except ValidationError as wrong:
            form.add_error(None, wrong)
        else:
            notices.success(request, "Kept. It holds from the next message on.")
            return redirect("telling")
    refused = refused_among(user.agency_id, [user.email]).get(user.email.lower())
    told = {"form": form, "refused": refused_words(refused) if refused else ""}
    return render(request, "notifications/telling.html", told)


@require_http_methods(["GET", "HEAD", "POST"])
def lead_times(request: HttpRequest) -> HttpResponse:
    """For the whole agency."""
    access.require(request.user, "set_lead_times")
    user: Any = request.user
    form = LeadTimesForm(request.POST or None, own=leads.own_of(user.agency_id))
    if "usual" in request.POST:
        return _set(request, dict.fromkeys(leads.kinds()))
    if form.is_bound and form.is_valid():
        return _set(request, form.changes())
    return render(request, "notifications/lead_times.html", {"form": form})


def _set(request: HttpRequest, changes: Mapping[str, Any]) -> HttpResponse:
    said = leads.lead_times_set(changes, actor=request.user, moment=clock.moment())
    notices.success(request, "Kept. It holds from the next digest on." if said else "Nothing was changed.")
    return redirect("lead_times")
