"""Background work of this app. Each task is short, and safe to run twice and at once."""

from celery import shared_task

from notifications import life, outbox, sending
from portfolio import clock


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
