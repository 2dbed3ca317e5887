"""How often a page that needs no log-in may be asked for."""

from collections.abc import Callable
from dataclasses import dataclass
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


MOST_WRONG = 20
WINDOW = 10 * 60
"""Seconds in which one address may be wrong so often; then nothing is looked up for it until they are over."""
KNOWN = 24 * 60 * 60
"""Seconds for which an address that was right once may go on with that, however wrong its neighbours are."""


def few_a_minute(view: Callable[..., HttpResponse]) -> Callable[..., HttpResponse]:
    """Somebody not signed in gets at most MOST_A_MINUTE pages a minute from one address, all such views together."""

    @wraps(view)
    def limited(request: HttpRequest, *args: Any, **more: Any) -> HttpResponse:
        if not request.user.is_authenticated and _asked(request) > MOST_A_MINUTE:
            return too_many(request, A_MINUTE)
        return view(request, *args, **more)

    return limited


@dataclass(frozen=True, slots=True)
class Guesses:
    """How often one address may try secrets of one kind that are not there. `digest` stands for a secret."""

    kind: str

    def over(self, request: HttpRequest, digest: str) -> bool:
        return cache.get(self._wrong(request), 0) >= MOST_WRONG and not cache.get(
            self._known(request, digest)
        )

    def was_wrong(self, request: HttpRequest) -> None:
        times(self._wrong(request), WINDOW)

    def was_right(self, request: HttpRequest, digest: str) -> None:
        cache.set(self._known(request, digest), True, KNOWN)

    def _wrong(self, request: HttpRequest) -> str:
        return f"{self.kind}-wrong:{get_adapter().get_client_ip(request)}"

    def _known(self, request: HttpRequest, digest: str) -> str:
        return f"{self.kind}-known:{get_adapter().get_client_ip(request)}:{digest}"


def times(key: str, seconds: int) -> int:
    """How often this was counted in the time that began with its first, with this once."""
    cache.add(key, 0, seconds)
    try:
        return int(cache.incr(key))
    except ValueError:  # it was put out of the cache between these two lines
        cache.set(key, 1, seconds)
        return 1


def too_many(request: HttpRequest, seconds: int) -> HttpResponse:
    answer = render(request, "429.html", status=HTTPStatus.TOO_MANY_REQUESTS)
    answer["Retry-After"] = str(seconds)
    return answer


def _asked(request: HttpRequest) -> int:
    """How many such pages this address has asked for in this minute, with this one."""
    address = get_adapter().get_client_ip(request)
    return times(f"pages:{address}:{clock.moment().at:%Y%m%d%H%M}", 2 * A_MINUTE)
