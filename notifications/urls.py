"""Addresses of the messages."""

from django.urls import path

from notifications import views

urlpatterns = [
    path("messages/", views.messages, name="messages"),
    path("messages/<int:pk>/", views.message, name="message"),
    path("messages/<int:pk>/again/", views.message_send_again, name="message_send_again"),
    path("messages/<int:pk>/hold/", views.message_hold, name="message_hold"),
    path("messages/<int:pk>/release/", views.message_release, name="message_release"),
]
