"""Background work of this app. Each task is short, and safe to run twice and at once."""

import logging
from datetime import datetime

from celery import shared_task

from notifications import life, outbox, sending
from notifications.reminders import at_once, digest
from portfolio import clock, standing
from portfolio.models import Agency

QUARTER = 15 * 60
"""Seconds until the next round of telling, when one that still waits is no longer wanted."""
log = logging.getLogger(__name__)


@shared_task(name=outbox.SEND_TASK)
def send_waiting() -> None:
    """Send what is due; if more is left than one batch takes, another batch follows."""
    if sending.send_waiting(clock.moment):
        send_waiting.delay()


@shared_task(name="notifications.sweep")
def sweep() -> int:
    """Each minute: what was left in flight, and what is due although nobody asked for it to be sent."""
    moment = clock.moment()
    life.seen(life.BEAT, at=moment.at)
    found = sending.sweep(moment)
    send_waiting()
    return found


@shared_task(name="notifications.tell")
def tell() -> int:
    """Each quarter of an hour: a task for each agency, which tells its people what is due."""
    moment = clock.moment()
    try:
        standing.catch_up(moment, limit=standing.CHUNK)
    except Exception:  # what is on record already is told all the same
        log.exception("The answers of today cannot be worked out.")
    agencies = list(Agency.objects.order_by("pk").values_list("pk", flat=True))
    for pk in agencies:
        tell_agency.apply_async((pk, moment.at.isoformat()), expires=QUARTER)
    return len(agencies)


@shared_task(name="notifications.tell_agency")
def tell_agency(agency_id: int, at: str) -> int:
    """Tell the people of an agency what is due at an instant (ISO); nothing once its day in London is over."""
    moment = clock.moment_of(datetime.fromisoformat(at))
    if clock.today() != moment.day:
        return 0
    try:
        told = at_once.say(agency_id, moment)
    finally:  # whatever keeps the one back must not keep back the other
        written = digest.say(agency_id, moment)
    return told + written
