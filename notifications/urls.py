"""Addresses of the messages."""

from django.urls import path

from notifications.views import messages

urlpatterns = [
    path("messages/", messages.messages, name="messages"),
    path("messages/<int:pk>/", messages.message, name="message"),
    path("messages/<int:pk>/again/", messages.message_send_again, name="message_send_again"),
    path("messages/<int:pk>/hold/", messages.message_hold, name="message_hold"),
    path("messages/<int:pk>/release/", messages.message_release, name="message_release"),
]
