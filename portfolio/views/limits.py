"""How often a page that needs no log-in may be asked for."""

from collections.abc import Callable
from functools import wraps
from http import HTTPStatus
from typing import Any

from allauth.account.adapter import get_adapter
from django.core.cache import cache
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render

from portfolio import clock

A_MINUTE = 60
"""Seconds."""
MOST_A_MINUTE = 60


def few_a_minute(view: Callable[..., HttpResponse]) -> Callable[..., HttpResponse]:
    """Somebody not signed in gets at most MOST_A_MINUTE pages a minute from one address, all such views together."""

    @wraps(view)
    def limited(request: HttpRequest, *args: Any, **more: Any) -> HttpResponse:
        if not request.user.is_authenticated and _asked(request) > MOST_A_MINUTE:
            answer = render(request, "429.html", status=HTTPStatus.TOO_MANY_REQUESTS)
            answer["Retry-After"] = str(A_MINUTE)
            return answer
        return view(request, *args, **more)

    return limited


def _asked(request: HttpRequest) -> int:
    """How many such pages this address has asked for in this minute, with this one."""
    address = get_adapter().get_client_ip(request)
    key = f"pages:{address}:{clock.moment().at:%Y%m%d%H%M}"
    cache.add(key, 0, 2 * A_MINUTE)
    try:
        return int(cache.incr(key))
    except ValueError:  # it was put out of the cache between these two lines
        return 1
