"""How the works of telling are, and a question to the mail server."""

from typing import Any

from django.contrib import messages as notices
from django.core.cache import cache
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_http_methods

from notifications import asking
from notifications.works import parts
from portfolio import access, clock

PAUSE = 10
"""Seconds between two questions of one agency to the mail server."""


@require_http_methods(["GET", "HEAD", "POST"])
def works(request: HttpRequest) -> HttpResponse:
    """Each part of the works; a form sent here asks the mail server."""
    access.require(request.user, "see_messages")
    user: Any = request.user
    if request.method == "POST":
        _ask(request)
        return redirect("works")
    moment = clock.moment()
    told = {"parts": parts(user.agency_id, moment), "moment": moment}
    return render(request, "notifications/works.html", told)


def _ask(request: HttpRequest) -> None:
    user: Any = request.user
    if not cache.add(f"mail-asked:{user.agency_id}", True, PAUSE):
        notices.warning(request, f"It was asked a moment ago. Wait {PAUSE} seconds, then ask again.")
        return
    answered = asking.mail_server()
    if answered.well:
        notices.success(request, f"The mail server answers: {answered.said}")
    else:
        notices.error(request, f"The mail server does not answer as it should. {answered.said}")
