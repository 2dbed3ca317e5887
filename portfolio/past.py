"""Records as they stood at an earlier instant, read from their history."""

from datetime import datetime
from typing import Any

from django.db import models


def records(model: type[models.Model], known: datetime | None, **which: Any) -> list[Any]:
    """The records picked by `which`, as they are now, or as they were written down before the instant `known`.

    `which` may only speak of what never changes of a record, such as its home. Of the past come history lines, on
    which `id` is that of the record. What was written last counts, whatever the clocks of two writers said.
    """
    kept: Any = model
    if known is None:
        return list(kept.objects.filter(**which).order_by("pk"))
    lines = kept.history.filter(history_date__lt=known, **which).order_by("history_id")
    last = {line.id: line for line in lines}
    return [last[pk] for pk in sorted(last) if last[pk].history_type != "-"]
