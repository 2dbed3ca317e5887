"""Addresses of the messages."""

from django.urls import path

from notifications.views import health, messages, not_told, telling, unsubscribe

urlpatterns = [
    path("messages/", messages.messages, name="messages"),
    path("messages/<int:pk>/", messages.message, name="message"),
    path("messages/<int:pk>/again/", messages.message_send_again, name="message_send_again"),
    path("messages/<int:pk>/hold/", messages.message_hold, name="message_hold"),
    path("messages/<int:pk>/release/", messages.message_release, name="message_release"),
    path("messages/not-told/", not_told.not_told, name="not_told"),
    path("messages/not-told/<int:pk>/again/", not_told.address_try_again, name="address_try_again"),
    path("messages/health/", health.works, name="works"),
    path("telling/", telling.telling, name="telling"),
    path("telling/lead-times/", telling.lead_times, name="lead_times"),
    path("unsubscribe/<str:signed>/", unsubscribe.digest_off, name="unsubscribe"),
]
