"""Addresses of the site."""

from django.urls import include, path

urlpatterns = [path("account/", include("allauth.urls"))]
