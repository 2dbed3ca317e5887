"""The page behind the address in a digest: no log-in, no cookie, one thing to do. Looking at it changes nothing.

A mail program sends the form without having seen the page (RFC 8058), so there can be no token in it; what it may do
is in the address, which is signed.
"""

from http import HTTPStatus

from django.contrib.auth.decorators import login_not_required
from django.contrib.auth.models import AnonymousUser
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.csrf import csrf_exempt
from django.views.decorators.http import require_http_methods

from notifications import telling, unsubscribe
from portfolio import clock
from portfolio.models import User
from portfolio.views.limits import few_a_minute

HEADERS = {"Referrer-Policy": "no-referrer", "X-Robots-Tag": "noindex", "Cache-Control": "no-store"}


@login_not_required
@csrf_exempt
@require_http_methods(["GET", "HEAD", "POST"])
@few_a_minute
def digest_off(request: HttpRequest, signed: str) -> HttpResponse:
    """Switch a digest off, or ask whether to."""
    user = User.objects.select_related("agency").filter(pk=unsubscribe.reader(signed) or 0).first()
    if user is None:
        raise Http404
    status, done = HTTPStatus.OK, False
    if request.method == "POST":
        done = request.POST.get(unsubscribe.FIELD) == unsubscribe.ONE_CLICK
        if done:
            telling.digest_end(user.pk, moment=clock.moment())
        else:
            status = HTTPStatus.BAD_REQUEST
    # The page is the reader's, whoever is logged in where it is opened.
    told = {"agency": user.agency, "role": user.role, "done": done, "user": AnonymousUser()}
    answer = render(request, "notifications/unsubscribe.html", told, status=status)
    for name, value in HEADERS.items():
        answer[name] = value
    return answer
