"""What cannot wait, in words."""

from collections.abc import Sequence
from typing import Any

from inspections.services.tell import address
from notifications.models import Message
from notifications.outbox import Draft, letter
from notifications.reminders import dangers, marks
from notifications.reminders.readers import Reader
from portfolio.clock import Moment

DANGERS, MARKS = "dangers", "withdrawn"
"""Kinds of message."""
WHOSE = {"agent": "that you look after", "landlord": "of yours"}


def dangers_draft(
    reader: Reader, agency_id: int, told: Sequence[dangers.Told], *, count: int, fresh: int, moment: Moment
) -> Draft:
    """The message on so many dangers, of which `told` are told in full and `fresh` were never told before."""
    first = told[0]
    return _draft(
        DANGERS,
        reader,
        agency_id,
        moment,
        because=f"Something dangerous is open in a home {WHOSE[reader.role]}. That is told every day until it is made "
        "safe or confirmed as put right, and cannot be switched off.",
        page={
            "first": first,
            "count": count,
            "others": count - 1,
            "is_new": fresh == count,
            "groups": dangers.together(told),
            "more": count - len(told),
            "list": address("open_defects"),
        },
    )


def withdrawn_draft(
    reader: Reader, agency_id: int, told: Sequence[marks.Told], *, count: int, moment: Moment
) -> Draft:
    """The message on so many marks that ended, of which `told` speaks."""
    shown = sum(one.marks for one in told)
    return _draft(
        MARKS,
        reader,
        agency_id,
        moment,
        because=f"A home {WHOSE[reader.role]} lost its mark by itself.",
        page={
            "first": told[0],
            "told": told,
            "count": count,
            "one_home": len(told) == 1 and shown == count,
            "more": count - shown,
            "list": address("homes"),
            "telling": address("telling"),
        },
    )


def part_of(message: Message) -> str:
    """The part of a reader, out of the key of their message."""
    return message.key.partition(":")[2].rpartition("@")[0]


def _draft(
    kind: str, reader: Reader, agency_id: int, moment: Moment, *, because: str, page: dict[str, Any]
) -> Draft:
    page = {"reader": reader, "because": because, **page}
    return Draft(
        key=f"{kind}:{reader.part}@{moment.at:%Y-%m-%dT%H:%M:%SZ}",
        kind=kind,
        because=because,
        agency_id=agency_id,
        to_user_id=reader.user_id,
        to_name=reader.name,
        to_email=reader.email,
        **letter(kind, page)._asdict(),
        urgent=True,
    )
