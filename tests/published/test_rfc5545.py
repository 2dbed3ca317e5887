"""Our calendar files beside RFC 5545, read by `rfc5545` and by the icalendar library; invitations beside RFC 5546.

Sections: 3.1 content lines (CRLF, folding at 75 octets), 3.3.11 TEXT, 3.6.1 VEVENT, 3.6.5 VTIMEZONE, 3.6.6 VALARM,
3.8.4.7 UID, 3.8.7.2 DTSTAMP; RFC 7986 sections 5.1 and 5.7 NAME, REFRESH-INTERVAL; RFC 5546 sections 3.2.2, 3.2.5.
"""

from bisect import bisect_right
from collections.abc import Iterator
from datetime import UTC, date, datetime, time, timedelta
from itertools import product

import pytest
from dateutil.rrule import rrulestr
from hypothesis import example, given
from hypothesis import strategies as st
from icalendar import Calendar

from notifications.feed.ical import written
from notifications.feed.shape import DUTY, JOB, KINDS, RENEWAL, Entry
from portfolio import ical
from portfolio.clock import LONDON
from tests.factories import at
from tests.published.rfc5545 import Component, faults, read

CHANGED = at().at
hours = st.times(max_value=time(21)).map(lambda at: at.replace(second=0, microsecond=0))
said = st.text(st.characters(codec="utf-8"), max_size=120)
days = st.dates(date(2026, 1, 1), date(2029, 12, 31))


def entry(**changes: object) -> Entry:
    told = {
        "kind": RENEWAL, "uid": "1@example.org", "day": date(2027, 5, 20), "summary": "Gas check runs out: Flat 2",
        "says": "More\nabout it", "url": "http://localhost:8000/homes/1/", "changed": CHANGED,
    }  # fmt: skip
    return Entry(**{**told, **changes})  # type: ignore[arg-type]


def timed(day: date, start: time, hours: int = 2) -> tuple[datetime, datetime]:
    begins = datetime.combine(day, start, LONDON)
    return begins, begins + timedelta(hours=hours)


entries = st.builds(
    entry,
    kind=st.sampled_from(sorted(KINDS)),
    day=days,
    summary=said,
    says=said,
    place=said,
    hours=st.none()
    | st.builds(
        timed, days, st.times(max_value=time(21)).map(lambda at: at.replace(second=0, microsecond=0))
    ),
    sequence=st.integers(0, 2**31 - 1),
)


@given(st.lists(entries, max_size=3), said)
@example([entry(summary='a; b, c\\d\ne\r\nf\rg\x00h: "i"', place="9; Row, Oxcombe")], "Smith; Sons, Ltd")
@example([entry(summary="é" * 200), entry(summary="😀" * 90), entry(summary="x" * 73 + "\n" * 9)], "Ö" * 90)
def test_whatever_people_typed_the_file_keeps_to_the_standard(found, name):
    found = [
        entry(**{key: getattr(one, key) for key in Entry.__slots__} | {"uid": f"{n}@example.org"})
        for n, one in enumerate(found)
    ]
    content = written(found or [entry()], name=name)
    assert faults(content) == []


@given(said, said)
def test_what_was_typed_is_read_back_as_it_was(summary, place):
    content = written([entry(summary=summary, place=place)], name="x")
    (event,) = Calendar.from_ical(content).walk("VEVENT")
    kept = str(ical.text(summary))
    assert str(event["summary"]) == kept
    assert str(event.get("location", "")) == str(ical.text(place))
    assert all(str(alarm["description"]) == kept for alarm in event.walk("VALARM"))


@pytest.mark.parametrize("kind", sorted(KINDS))
def test_each_kind_has_its_reminders_and_its_category(kind):
    (event,) = Calendar.from_ical(written([entry(kind=kind)], name="x")).walk("VEVENT")
    assert [alarm["trigger"].to_ical() for alarm in event.walk("VALARM")] == {
        RENEWAL: [b"-P14D", b"-P1D"], DUTY: [b"-P3D"], JOB: [b"-PT2H"],
    }[kind]  # fmt: skip
    assert {str(alarm["action"]) for alarm in event.walk("VALARM")} == {"DISPLAY"}
    assert event["categories"].cats == [KINDS[kind].category]


def test_the_calendar_says_its_name_and_how_often_to_look():
    whole = read(written([entry()], name="A; B, C").replace(b"\r\n ", b"").decode())
    told = {name: (params, value) for name, params, value in whole.lines}
    assert told["NAME"] == told["X-WR-CALNAME"] == ({}, "A\\; B\\, C")
    assert told["REFRESH-INTERVAL"] == ({"VALUE": "DURATION"}, "PT1H")
    assert told["X-PUBLISHED-TTL"] == ({}, "PT1H")
    assert "METHOD" not in told


def test_a_calendar_without_hours_tells_of_no_zone():
    assert b"VTIMEZONE" not in written([entry()], name="x")
    assert b"VTIMEZONE" in written([entry(hours=timed(date(2027, 6, 1), time(9)))], name="x")


def changes_told(zone: Component) -> Iterator[tuple[datetime, timedelta]]:
    """Each change that the rules of a VTIMEZONE make, at its local time, and the offset from then on (3.6.5)."""
    for part in zone.parts:
        ((_, rule),), ((_, start),), ((_, to),) = map(part.all, ("RRULE", "DTSTART", "TZOFFSETTO"))
        begins = datetime.strptime(start, "%Y%m%dT%H%M%S")  # noqa: DTZ007 - local, as the standard has it
        for when in rrulestr(rule, dtstart=begins).xafter(begins, count=60, inc=True):
            yield when, timedelta(hours=int(to[:3]))


def test_the_rules_told_of_london_are_those_of_london():
    """On both sides of both changes of each year, at every hour that there is once, down to that of the change."""
    whole = ical.new_calendar("test")
    ical.add_london(whole)
    (zone,) = read(whole.to_ical().decode()).parts
    changes = sorted(changes_told(zone))
    for year, month, day in product(range(1997, 2045), (3, 10), range(22, 32)):
        for hour in (0, 1, 2, 3):
            there = datetime(year, month, day, hour, tzinfo=LONDON)
            if (offset := there.utcoffset()) == there.replace(fold=1).utcoffset():
                told = changes[bisect_right(changes, (there.replace(tzinfo=None), timedelta.max)) - 1]
                assert told[1] == offset, there


@pytest.mark.parametrize(
    ("day", "utc"),
    [(date(2027, 3, 27), 9), (date(2027, 3, 28), 8), (date(2027, 10, 30), 8), (date(2027, 10, 31), 9)],
)
def test_hours_are_the_same_instant_on_both_sides_of_a_change(day, utc):
    (event,) = Calendar.from_ical(written([entry(kind=JOB, hours=timed(day, time(9)))], name="x")).walk(
        "VEVENT"
    )
    assert event["dtstart"].dt.astimezone(UTC) == datetime(day.year, day.month, day.day, utc, tzinfo=UTC)


GOOD = written([entry(kind=JOB, hours=timed(date(2027, 6, 1), time(9)))], name="Good")
EVENT = GOOD[GOOD.index(b"BEGIN:VEVENT") : GOOD.index(b"END:VCALENDAR")]


@pytest.mark.parametrize(
    ("was", "now", "section"),
    [
        (b"\r\n", b"\n", "3.1"),
        (b"SUMMARY:", b"SUMMARY:" + b"x" * 80, "3.1"),
        (b"UID:1@example.org\r\n", b"", "3.6"),
        (b"DTSTAMP:", b"DTSTAMP;X=1:2026\r\nDTSTAMP:", "3.6"),
        (b"DTSTART;TZID=Europe/London:20270601T090000\r\n", b"", "3.6.1"),
        (b"Gas check", b"Gas, check", "3.3"),
        (b"Gas check", b"Gas; check", "3.3"),
        (b"Gas check", b"Gas \\x check", "3.3"),
        (b"Gas check", b"Gas \x07 check", "3.3"),
        (b"X-WR-CALNAME:Good", b"X-WR-CALNAME:Good; better", "3.3"),
        (b"TZID:Europe/London", b"TZID:Europe/Dublin", "3.2.19"),
        (b"DTEND;TZID=Europe/London:20270601T11", b"DTEND;TZID=Europe/London:20270601T08", "3.8.2.2"),
        (b"DTEND;TZID=Europe/London:20270601T110000", b"DTEND;VALUE=DATE:20270602", "3.8.2.2"),
        (b"TRIGGER:-PT2H", b"TRIGGER:-2H", "3.3"),
        (b"ACTION:DISPLAY\r\n", b"", "3.6"),
        (b"SEQUENCE:0", b"SEQUENCE:-1", "3.3"),
        (b"END:VEVENT", b"END:VTODO", "3.6"),
        (b"VERSION:2.0", b"VERSION:1.0", "3.3"),
        (b"END:VCALENDAR", EVENT + b"END:VCALENDAR", "3.8.4.7"),
    ],
)  # fmt: skip
def test_the_check_finds_what_is_wrong(was, now, section):
    assert faults(GOOD) == []
    assert was in GOOD
    assert any(fault.startswith(section) for fault in faults(GOOD.replace(was, now)))
