"""Addresses of a person's calendar."""

from django.urls import path

from notifications.views import feed

urlpatterns = [
    path("calendar/feed/", feed.feed, name="feed"),
    path("calendar/feed/<str:token>.ics", feed.feed_file, name="feed_file"),
]
