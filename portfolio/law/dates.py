"""Counting days as the law counts them, and asking a day questions without letting the day leak out."""

from calendar import monthrange
from collections.abc import Collection
from datetime import date, timedelta

_DAY = timedelta(days=1)


def add_months(day: date, months: int) -> date:
    """The same-numbered day so many calendar months on, or that month's last day if it has no such number.

    A period of months running from an event leaves the event's own day out and ends on the day this
    returns (Interpretation Act 1978, Sch 1 "month"; Dodds v Walker [1981] 1 WLR 1027). Past the end of
    the calendar the answer is `date.max`.
    """
    year, month = divmod(day.year * 12 + day.month - 1 + months, 12)
    if year > date.max.year:
        return date.max
    if day.day <= 28:
        return date(year, month + 1, day.day)
    return date(year, month + 1, min(day.day, monthrange(year, month + 1)[1]))


def add_years(day: date, years: int) -> date:
    """The anniversary, the last day of "no more than N years after"; 29 February may give 28 February."""
    return add_months(day, 12 * years)


def years_beginning_with(day: date, years: int) -> date:
    """Last day of "N years beginning with `day`": the day before the anniversary, `day` being counted in.

    When the target month has no such day (29 February) the period ends on that month's last day.
    """
    anniversary = add_years(day, years)
    return anniversary - _DAY if anniversary.day == day.day else anniversary


def days_starting_with(day: date, days: int) -> date:
    """Last day of "N days starting with `day`": the day itself is the first of them."""
    return within_days_of(day, days - 1)


def within_days_of(day: date, days: int) -> date:
    """Last day of "within N days of `day`": the day itself is not counted."""
    return date.max if days > (date.max - day).days else day + timedelta(days=days)


def start_of_months_ending_with(day: date, months: int) -> date:
    """First day of "the period of N months ending with `day`", `day` being counted in.

    It is the day after the same-numbered day N months earlier; where that month has no such day the period
    begins on the first of the month after it, the later and so the stricter of the two readings.
    """
    return add_months(day, -months) + _DAY


def working_days_after(day: date, days: int, holidays: Collection[date]) -> date:
    """The Nth working day, the first being the next: Monday to Friday, less the nation's bank holidays."""
    left = days
    while left > 0:
        day += _DAY
        if day.weekday() < 5 and day not in holidays:
            left -= 1
    return day


def day_after(day: date) -> date | None:
    """The next day; None at the very end of the calendar."""
    return None if day == date.max else day + _DAY


class AsOn:
    """A day that may only be asked whether another day has come.

    Rules see this and never the day itself, so what they answer can turn only on a day they asked about.
    `turns` is the first later day on which one of the answers given so far would be different.
    """

    __slots__ = ("_day", "turns")

    def __init__(self, day: date) -> None:
        self._day = day
        self.turns: date | None = None

    def reached(self, day: date) -> bool:
        """Is it `day` yet, or later?"""
        if self._day >= day:
            return True
        if self.turns is None or day < self.turns:
            self.turns = day
        return False

    def passed(self, day: date) -> bool:
        """Is `day`, a last good day, over?"""
        if self._day > day:
            return True
        after = day_after(day)
        return after is not None and self.reached(after)
