"""Days told relative to a day: `{today-5y+3d}`, `{gas+28d}`.

A name (`today`, or a day the home names), then steps of days (d), calendar months (m) or years (y).
"""

import re
from collections.abc import Mapping
from datetime import date, timedelta

from portfolio.law.dates import add_months

TOLD = re.compile(r"\{([a-z_]+)((?:[+-]\d+[dmy])*)\}")
_STEP = re.compile(r"([+-]\d+)([dmy])")


class UnknownDay(ValueError):
    """A day told from a name that nobody gave."""


def day_told(text: str, known: Mapping[str, date]) -> date | None:
    """The day that the whole text tells, or None when it is some other text. Raises UnknownDay."""
    told = TOLD.fullmatch(text)
    return _day(told, known) if told else None


def _day(told: re.Match[str], known: Mapping[str, date]) -> date:
    name, steps = told.groups()
    if name not in known:
        raise UnknownDay(f"{told[0]} tells a day from '{name}'; known here: {', '.join(sorted(known))}")
    day = known[name]
    for count, unit in _STEP.findall(steps):
        if unit == "d":
            day += timedelta(days=int(count))
        else:
            day = add_months(day, int(count) * (12 if unit == "y" else 1))
    return day


def in_place(value: object, known: Mapping[str, date]) -> object:
    """The same tree of lists and tables with every told day as an ISO date."""
    if isinstance(value, str):
        day = day_told(value, known)
        return value if day is None else day.isoformat()
    if isinstance(value, list):
        return [in_place(item, known) for item in value]
    if isinstance(value, dict):
        return {key: in_place(item, known) for key, item in value.items()}
    return value
