"""One message moves to its next state, if it is still where it was read."""

from collections.abc import Sequence
from functools import lru_cache

from django.db import connection

from notifications.models import Message


def moved(message: Message, states: Sequence[str], **columns: object) -> bool:
    """Store these columns if the message is in one of these states and was claimed as often as when it was read.

    The SQL is written out here: it is needed twice for each message, and having it composed anew each time costs
    several times what the database itself takes.
    """
    fields = Message._meta
    values = [fields.get_field(name).get_db_prep_value(value, connection) for name, value in columns.items()]  # type: ignore[union-attr]
    with connection.cursor() as cursor:
        cursor.execute(_update(tuple(columns), len(states)), [*values, message.pk, message.tries, *states])
        return cursor.rowcount == 1


@lru_cache(maxsize=50)
def _update(columns: tuple[str, ...], states: int) -> str:
    quoted = connection.ops.quote_name
    table = quoted(Message._meta.db_table)
    to = ", ".join(f"{quoted(name)} = %s" for name in columns)
    among = ", ".join(["%s"] * states)
    return f"UPDATE {table} SET {to} WHERE id = %s AND tries = %s AND state IN ({among})"  # noqa: S608 - names, not input
