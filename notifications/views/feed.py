"""A person's calendar: the page on which its secret address is made and ended, and the file behind that address."""

import hashlib
from http import HTTPStatus
from urllib.parse import urlsplit

from django.conf import settings
from django.contrib import messages as notices
from django.contrib.auth.decorators import login_not_required
from django.http import Http404, HttpRequest, HttpResponse, HttpResponseBase
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils.cache import get_conditional_response
from django.utils.http import quote_etag
from django.views.decorators.http import require_http_methods, require_safe

from notifications.feed import services
from notifications.feed.entries import entries
from notifications.feed.ical import written
from notifications.models import Feed
from portfolio import access, clock
from portfolio.selectors.reach import Behind
from portfolio.views.limits import WINDOW, Guesses, times, too_many

GUESSES = Guesses("feed")
MOST_FETCHED = 20
"""By whoever has one address, in WINDOW: many devices that look every few minutes, too little to keep us busy."""
BEHIND_SECONDS = 15 * 60
HEADERS = {"Referrer-Policy": "no-referrer", "X-Robots-Tag": "noindex, nofollow, noarchive"}


@require_http_methods(["GET", "HEAD", "POST"])
def feed(request: HttpRequest) -> HttpResponse:
    """How it is used; `do=make` makes an address and shows it, once, as only its SHA-256 is kept; `do=end` ends it."""
    access.require(request.user, "see")
    do = request.POST.get("do")
    if do == "make":
        return _page(request, services.feed_make(actor=request.user, moment=clock.moment()))
    if do == "end":
        if services.feed_end(actor=request.user, moment=clock.moment()):
            notices.success(request, "The address is ended. Whoever has it gets nothing more from here.")
        else:
            notices.info(request, "There was no address to end.")
        return redirect("feed")
    return _page(request)


@login_not_required
@require_safe
def feed_file(request: HttpRequest, token: str) -> HttpResponseBase:
    """The calendar. Wrong, ended and no longer in use look the same: 404."""
    moment, digest = clock.moment(), services.digest_of(token)
    if GUESSES.over(request, digest):
        return too_many(request, WINDOW)
    found = services.live_feed(token)
    if found is None:
        GUESSES.was_wrong(request)
        raise Http404
    GUESSES.was_right(request, digest)
    if times(f"feed-fetched:{found.pk}", WINDOW) > MOST_FETCHED:
        return too_many(request, WINDOW)
    services.feed_fetched(found, moment=moment)
    try:
        content = written(entries(found, moment=moment), name=f"Sneck: {found.user.agency}")
    except Behind:
        return _behind()
    return _file(request, content)


def _page(request: HttpRequest, token: str = "") -> HttpResponse:
    found = Feed.objects.filter(user=request.user.pk, ended_at=None).first()
    address = f"{settings.SNECK_SITE}{reverse('feed_file', args=[token])}" if token else ""
    shown = {
        "feed": found,
        "address": address,
        "webcal": urlsplit(address)._replace(scheme="webcal").geturl() if token else "",
    }
    answer = render(request, "notifications/feed.html", shown)
    answer["Cache-Control"] = "no-store"
    return answer


def _file(request: HttpRequest, content: bytes) -> HttpResponseBase:
    """The file, or that it is the same as what the reader has."""
    etag = quote_etag(hashlib.sha256(content).hexdigest())
    headers = HEADERS | {
        "ETag": etag,
        "Cache-Control": "private, no-cache",
        "Content-Disposition": 'inline; filename="sneck.ics"',
    }
    answer = HttpResponse(content, content_type="text/calendar; charset=utf-8", headers=headers)
    same = get_conditional_response(request, etag=etag, response=answer)
    assert same is not None
    return same


def _behind() -> HttpResponse:
    """A calendar program keeps what it has and comes again."""
    says = "The answers for many homes are being worked out anew. Come again in a quarter of an hour.\n"
    headers = HEADERS | {"Retry-After": str(BEHIND_SECONDS)}
    status = HTTPStatus.SERVICE_UNAVAILABLE
    return HttpResponse(says, content_type="text/plain; charset=utf-8", status=status, headers=headers)
