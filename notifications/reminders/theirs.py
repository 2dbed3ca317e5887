"""Whether what is written to a landlord still speaks of that landlord's homes alone, when its turn to be sent comes."""

import re
from collections import defaultdict

from inspections.models import Defect
from notifications.models import Message, Said
from portfolio.models import Clearance, Unit

_ADDRESS = re.compile(r":landlord:(\d+)(?:@|$)")
OF_HOMES, OF_DEFECTS, OF_MARKS = ("renewal", "duty", "danger-home"), ("danger", "repair"), ("withdrawn",)
"""What causes begin with, by what the number after it is of."""


def why_not(message: Message) -> str:
    """That some home it speaks of is another's by now, in a sentence; "" for whoever is no landlord."""
    landlord = _landlord(message)
    if landlord is None:
        return ""
    ids: dict[str, set[int]] = defaultdict(set)
    for cause in Said.objects.filter(message=message).values_list("cause", flat=True):
        kind, number = cause.split(":")[:2]
        ids[kind].add(int(number))
    homes = {number for kind in OF_HOMES for number in ids[kind]}
    if message.unit_id is not None:
        homes.add(message.unit_id)
    defects = {number for kind in OF_DEFECTS for number in ids[kind]}
    clearances = {number for kind in OF_MARKS for number in ids[kind]}
    another = (
        Unit.objects.filter(pk__in=homes).exclude(landlord=landlord),
        Defect.objects.filter(pk__in=defects).exclude(unit__landlord=landlord),
        Clearance.objects.filter(pk__in=clearances).exclude(unit__landlord=landlord),
    )
    if any(found.exists() for found in another):
        return f"A home it speaks of is {message.to_name}’s no longer."
    return ""


def _landlord(message: Message) -> int | None:
    """The landlord it is written to: by a log-in, or by an address alone."""
    if message.to_user is not None:
        return message.to_user.landlord_id
    found = _ADDRESS.search(message.key)
    return int(found[1]) if found else None
