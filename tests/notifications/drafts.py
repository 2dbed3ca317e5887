"""Messages for tests."""

from itertools import count
from typing import Any

from django.db import transaction

from notifications import outbox
from notifications.models import Message
from portfolio.models import Agency
from tests.factories import at

_number = count(1)


def put(agency: Agency, **changes: Any) -> Message:
    """A message put at noon of the day of the tests, each with a key and a reader of its own."""
    number = next(_number)
    told: dict[str, Any] = {
        "key": f"test:{number}",
        "kind": "test",
        "because": "You asked for it.",
        "agency_id": agency.pk,
        "to_name": "Ann Reader",
        "to_email": f"reader{number}@example.org",
        "subject": "Book the gas check of Flat 2",
        "text": "Book the gas check now.\n\n.A line that begins with a dot, and a pound sign: £.\n",
        "html": "<p>Book the gas check now: £.</p>",
    }
    with transaction.atomic():
        message = outbox.put(outbox.Draft(**{**told, **changes}), at=at().at)
    assert message is not None
    return message
