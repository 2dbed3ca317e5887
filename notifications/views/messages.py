"""The messages of an agency: what was said, to whom, why, when and in what state; and what can be done about one."""

from collections.abc import Callable
from typing import Any

from django.contrib import messages as notices
from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_POST, require_safe

from notifications import selectors, services
from notifications.forms import FindMessages
from notifications.models import Message
from portfolio import access, clock

PER_PAGE = 50


@require_safe
def messages(request: HttpRequest) -> HttpResponse:
    access.require(request.user, "see_messages")
    moment, mine = clock.moment(), selectors.visible_to(request.user)
    form = FindMessages(request.GET or None, kinds=selectors.kinds(mine))
    asked = form.cleaned_data if form.is_bound and form.is_valid() else {}
    found = selectors.listed(mine.select_related("unit__building"), asked)
    page = Paginator(found, PER_PAGE).get_page(request.GET.get("page"))
    told = {"form": form, "page": page, "rows": [selectors.row(one, moment) for one in page.object_list]}
    return render(request, "notifications/messages.html", told)


@require_safe
def message(request: HttpRequest, pk: int) -> HttpResponse:
    access.require(request.user, "see_messages")
    found = selectors.get_or_404(request.user, pk)
    told = {
        "message": found,
        "row": selectors.row(found, clock.moment()),
        "text": selectors.text_of(found),
        "files": found.attachments.order_by("pk").values_list("name", flat=True),
        "do": selectors.may_do(found),
        "events": selectors.events_of(found),
    }
    return render(request, "notifications/message.html", told)


@require_POST
def message_send_again(request: HttpRequest, pk: int) -> HttpResponse:
    return _done(request, pk, services.message_send_again, "It is sent again.")


@require_POST
def message_hold(request: HttpRequest, pk: int) -> HttpResponse:
    return _done(request, pk, services.message_hold, "It is held back until you release it.")


@require_POST
def message_release(request: HttpRequest, pk: int) -> HttpResponse:
    return _done(request, pk, services.message_release, "It goes on its way.")


def _done(request: HttpRequest, pk: int, service: Callable[..., Message], said: str) -> HttpResponse:
    access.require(request.user, "see_messages")
    found: Any = selectors.get_or_404(request.user, pk)
    try:
        service(found.pk, actor=request.user, moment=clock.moment())
    except services.NotPossible as why:
        notices.error(request, str(why))
    else:
        notices.success(request, said)
    return redirect("message", pk=found.pk)
