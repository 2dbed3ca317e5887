"""An address that carries a token, as that of a link without a log-in does."""

from django.http import HttpRequest, HttpResponse
from django.urls import path


def nothing(request: HttpRequest, token: str, pk: int) -> HttpResponse:
    return HttpResponse()


urlpatterns = [path("<str:token>/<int:pk>/", nothing, name="by_token")]
