"""What is recorded once the mail server has taken a message: exactly once, whoever dies or works at the same time.

The function that settings.NOTIFICATION_AFTER names for the kind is called in one transaction with the mark that it was
done, and only after the message is recorded as sent. What was left by a process that died, or failed, is done by the
sweep.
"""

import logging
import time

from django.conf import settings
from django.db import transaction
from django.utils.module_loading import import_string

from notifications.models import Message
from notifications.words import SENT
from portfolio.clock import Moment, moment_of
from portfolio.services.write import locked_buildings, locked_units

MOST = 200
LONGEST_SECONDS = 20
log = logging.getLogger(__name__)


def follow(message_id: int, *, moment: Moment) -> bool:
    """Record what follows from a sent message; False if it is recorded already, or could not be."""
    try:
        return _followed(message_id, moment)
    except Exception:  # one that fails must not stop the others, and is tried again by the sweep
        log.exception("What follows from message %s cannot be recorded.", message_id)
        return False


@transaction.atomic
def _followed(message_id: int, moment: Moment) -> bool:
    open_one = Message.objects.filter(pk=message_id, state=SENT, follows=True, followed_at=None)
    # Homes are locked before their messages, here as everywhere, and whatever follows wants them locked.
    homes = list(open_one.filter(unit__isnull=False).values_list("unit_id", flat=True))
    locked_buildings(units__in=homes)
    locked_units(homes)
    if not open_one.update(followed_at=moment.at):
        return False
    message = Message.objects.select_related("agency", "unit", "to_user").get(pk=message_id)
    assert message.sent_at is not None
    import_string(settings.NOTIFICATION_AFTER[message.kind])(message, at=moment_of(message.sent_at))
    return True


def follow_left(*, moment: Moment) -> int:
    """Record what was left; returns how many. In no order, so that some that always fail do not hold up the rest."""
    left = Message.objects.filter(state=SENT, follows=True, followed_at=None).order_by("?")
    end, done = time.monotonic() + LONGEST_SECONDS, 0
    for message_id in left.values_list("pk", flat=True)[:MOST]:
        if time.monotonic() > end:
            break
        done += follow(message_id, moment=moment)
    return done
