"""The Celery application: its options and its time-table are in settings."""

import os

from celery import Celery
from celery.signals import worker_ready

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "portfolio.settings")
app = Celery("portfolio")
app.config_from_object("django.conf:settings", namespace="CELERY")
app.autodiscover_tasks()


@worker_ready.connect
def catch_up_at_once(**_: object) -> None:
    """A worker that was down over midnight, or while something fell due, does not wait for its next hour."""
    app.send_task("portfolio.catch_up")
    app.send_task("notifications.sweep")
    app.send_task("notifications.tell")
