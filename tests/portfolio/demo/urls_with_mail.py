"""The site's addresses as the demonstration has them."""

from django.urls import include, path

from portfolio.urls import urlpatterns as site

urlpatterns = [*site, path("mail/", include("portfolio.demo.urls"))]
