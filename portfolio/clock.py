"""The only place that reads the clock.

A `Moment` is read once where work begins (a view, a task, a command) and passed down. The law's day is the
day in London, whatever the server's own zone.
"""

from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

LONDON = ZoneInfo("Europe/London")


@dataclass(frozen=True, slots=True)
class Moment:
    """An instant in UTC and the London day it falls on."""

    at: datetime
    day: date


def moment() -> Moment:
    return moment_of(datetime.now(UTC))


def moment_of(at: datetime) -> Moment:
    """The moment of a given aware instant."""
    return Moment(at=at.astimezone(UTC), day=at.astimezone(LONDON).date())


def today() -> date:
    """The day in London."""
    return moment().day


def end_of(day: date) -> datetime:
    """The instant at which a day ends in London, no longer part of it."""
    return datetime.combine(day + timedelta(days=1), time(), LONDON).astimezone(UTC)
