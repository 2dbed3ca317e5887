"""Addresses of mails that do something for one home."""

from django.urls import path

from notifications.views import papers

urlpatterns = [
    path("homes/<int:pk>/send/", papers.papers, name="papers_send"),
    path("homes/<int:pk>/renew/", papers.renewal_ask, name="renewal_ask"),
]
