"""The settings of a drill: those of the site with short waits, so that days of trouble pass in minutes."""

from portfolio.settings import *  # noqa: F403

EMAIL_TIMEOUT = 2
SMTP_LAST_ANSWER_SECONDS = 3
NOTIFICATION_DELAYS = [1, 1, 2, 2, *[3] * 36]
NOTIFICATION_CLAIM_SECONDS = 15
"""Longer than a talk with the mail server at the waits above."""
NOTIFICATION_UNCLEAR_SECONDS = 3
NOTIFICATION_MOST_LOST = 20
NOTIFICATION_AFTER = {"drill_follows": "notifications.drill.after.count"}
CELERY_BEAT_SCHEDULE = {"messages": {"task": "notifications.sweep", "schedule": 2.0}}
