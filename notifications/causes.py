"""Asks, when a message's turn has come, whether there is still cause to send it."""

from django.conf import settings
from django.utils.module_loading import import_string

from notifications.models import Message
from notifications.reminders import theirs
from notifications.telling import not_wanted


def why_not(message: Message) -> str:
    """Why the message is no longer to be sent, in a sentence; "" when it is.

    Each kind may have a question of its own, named in settings.NOTIFICATION_CAUSES.
    """
    if message.to_user is not None and not message.to_user.is_active:
        return f"{message.to_name} no longer has a log-in here."
    unwanted = not_wanted(getattr(message.to_user, "telling", None), message.kind)
    if unwanted:
        return f"{message.to_name} {unwanted}."
    if of_others := theirs.why_not(message):
        return of_others
    question = settings.NOTIFICATION_CAUSES.get(message.kind)
    return str(import_string(question)(message)) if question else ""
