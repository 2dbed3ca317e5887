"""What follows from some messages of a drill: counted in the message, and now and then its process is killed over it.

The count is part of the same transaction as the mark that it was done, so a second time, or one that was half done,
would show in it.
"""

import os
import signal
from pathlib import Path

from django.conf import settings

from notifications.models import Message
from portfolio.clock import Moment

KIND = "drill_follows"
EVERY = 3
"""Of so many messages one carries a follow-up."""
KILLED, FAILED = 40, 11
"""The first time of every so many of these ends in SIGKILL, or in an error, after it was counted."""


def count(message: Message, *, at: Moment) -> None:
    """Add one to what the message says of itself. Raises RuntimeError the first time for some."""
    counted = Message.objects.get(pk=message.pk).data["counted"]
    Message.objects.filter(pk=message.pk).update(data={**message.data, "counted": counted + 1})
    number = int(message.data["number"]) // EVERY
    if number % KILLED == 1 and _first_time(number):
        os.kill(os.getpid(), signal.SIGKILL)
    if number % FAILED == 2 and _first_time(number):
        raise RuntimeError("The drill has it fail once.")


def _first_time(number: int) -> bool:
    """Kept in a file, as the database forgets what is rolled back."""
    try:
        (Path(settings.VAR) / f"followed-{number}").touch(exist_ok=False)
    except FileExistsError:
        return False
    return True


def times(killed: bool) -> int:
    """How often it went wrong in this way so far."""
    numbers = [int(path.name.rpartition("-")[2]) for path in Path(settings.VAR).glob("followed-*")]
    return sum((number % KILLED == 1) is killed for number in numbers)
