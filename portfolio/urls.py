"""Addresses of the site."""

from django.conf import settings
from django.urls import include, path

urlpatterns = [path("account/", include("allauth.urls"))]
if settings.SNECK_DEMO:
    urlpatterns.append(path("mail/", include("portfolio.demo.urls")))
