"""What all our calendar files share, by RFC 5545: how they begin, the clocks of London, and text without surprises."""

import re
from datetime import timedelta
from email.utils import parseaddr
from typing import Any

from django.conf import settings

PRODUCT = "-//Sneck//{}//EN"
ZONE = b"""BEGIN:VTIMEZONE
TZID:Europe/London
BEGIN:DAYLIGHT
DTSTART:19960331T010000
RRULE:FREQ=YEARLY;BYMONTH=3;BYDAY=-1SU
TZNAME:BST
TZOFFSETFROM:+0000
TZOFFSETTO:+0100
END:DAYLIGHT
BEGIN:STANDARD
DTSTART:19961027T020000
RRULE:FREQ=YEARLY;BYMONTH=10;BYDAY=-1SU
TZNAME:GMT
TZOFFSETFROM:+0100
TZOFFSETTO:+0000
END:STANDARD
END:VTIMEZONE
"""
"""The rule in force since 1996. The library would list the changes of 68 years, those to summer time an hour late."""
_CONTROL = re.compile(r"[\x00-\x08\x0b-\x1f\x7f]")
"""What TEXT must not hold (section 3.3.11); a tab and the end of a line it may."""


def new_calendar(of: str) -> Any:
    """An `icalendar.Calendar` with what each must have; `of` names the part of the product that makes it."""
    from icalendar import Calendar

    calendar = Calendar()
    calendar.add("prodid", PRODUCT.format(of))
    calendar.add("version", "2.0")
    return calendar


def add_london(calendar: Any) -> None:
    """The zone that times in Europe/London refer to; belongs before them."""
    from icalendar import Timezone

    calendar.add_component(Timezone.from_ical(ZONE))


def duration(span: timedelta) -> Any:
    from icalendar import vDuration

    return vDuration(span)


def text(said: str) -> Any:
    """What people typed as TEXT, whatever the property: the library would write those it does not know as they are."""
    from icalendar import vText

    return vText(_CONTROL.sub("", said.replace("\r\n", "\n").replace("\r", "\n")))


def uid(local: str) -> str:
    """What an entry is known by all over the world: unique here, at the domain that our mail comes from."""
    return f"{local}@{parseaddr(settings.DEFAULT_FROM_EMAIL)[1].rpartition('@')[2]}"
