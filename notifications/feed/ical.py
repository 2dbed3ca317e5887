"""Entries as an iCalendar file (RFC 5545; its name and how often to fetch it by RFC 7986)."""

from collections.abc import Iterable
from datetime import timedelta
from typing import Any

from notifications.feed.shape import KINDS, Entry, page
from portfolio import ical

FETCH = timedelta(hours=1)
"""How often a calendar program is asked to look."""
ABOUT = "What runs out, falls due and is to come, as recorded. Sneck records; it does not inspect or certify."


def written(entries: Iterable[Entry], *, name: str) -> bytes:
    """The whole calendar, the same bytes for the same entries."""
    calendar = ical.new_calendar("calendar")
    calendar.add("calscale", "GREGORIAN")
    for key in ("name", "x-wr-calname"):
        calendar.add(key, ical.text(name))
    for key in ("description", "x-wr-caldesc"):
        calendar.add(key, ical.text(ABOUT))
    calendar.add("refresh-interval", FETCH, parameters={"value": "DURATION"})
    calendar.add("x-published-ttl", ical.duration(FETCH))
    calendar.add("url", page("/calendar/"))
    found = list(entries)
    if any(entry.hours for entry in found):
        ical.add_london(calendar)
    for entry in found:
        calendar.add_component(_event(entry))
    return bytes(calendar.to_ical())


def _event(entry: Entry) -> Any:
    from icalendar import Event

    event, kind = Event(), KINDS[entry.kind]
    event.add("uid", entry.uid)
    # Without a METHOD the stamp is when what is said was last changed (section 3.8.7.2), not when this was written.
    event.add("dtstamp", entry.changed)
    event.add("last-modified", entry.changed)
    event.add("sequence", entry.sequence)
    start, end = entry.hours or (entry.day, entry.day + timedelta(days=1))
    event.add("dtstart", start)
    event.add("dtend", end)
    event.add("summary", ical.text(entry.summary))
    event.add("description", ical.text(entry.says))
    if entry.place:
        event.add("location", ical.text(entry.place))
    event.add("categories", [kind.category])
    event.add("url", entry.url)
    event.add("transp", "TRANSPARENT")  # something to bear in mind; it fills nobody's hours
    for before in kind.alarms:
        event.add_component(_alarm(entry, before))
    return event


def _alarm(entry: Entry, before: timedelta) -> Any:
    from icalendar import Alarm

    alarm = Alarm()
    alarm.add("action", "DISPLAY")
    alarm.add("trigger", -before)
    alarm.add("description", ical.text(entry.summary))
    return alarm
