"""Addresses of the kept mail, under /mail/."""

from django.urls import path

from portfolio.demo import views

urlpatterns = [
    path("", views.mail_list, name="demo_mail"),
    path("<slug:name>/", views.mail_message, name="demo_mail_message"),
    path("<slug:name>/file/", views.mail_file, name="demo_mail_file"),
]
