"""Whether a file keeps to RFC 5545, told from its text alone: read by the rules of the standard, by no library of ours.

Each fault names the section it is against. Only what our files may hold is known here: what else is in one is a fault.
"""

import re
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, field

ONCE, MOST_ONCE, ANY = "once", "at most once", "any number"
RULES: dict[str, dict[str, str]] = {
    # 3.6, 3.7; RFC 7986 section 5
    "VCALENDAR": {
        "PRODID": ONCE, "VERSION": ONCE, "CALSCALE": MOST_ONCE, "METHOD": MOST_ONCE, "NAME": ANY, "DESCRIPTION": ANY,
        "URL": MOST_ONCE, "REFRESH-INTERVAL": MOST_ONCE,
    },
    # 3.6.1
    "VEVENT": {
        "UID": ONCE, "DTSTAMP": ONCE, "DTSTART": MOST_ONCE, "DTEND": MOST_ONCE, "SUMMARY": MOST_ONCE,
        "DESCRIPTION": MOST_ONCE, "LOCATION": MOST_ONCE, "SEQUENCE": MOST_ONCE, "STATUS": MOST_ONCE,
        "TRANSP": MOST_ONCE, "LAST-MODIFIED": MOST_ONCE, "URL": MOST_ONCE, "ORGANIZER": MOST_ONCE,
        "ATTENDEE": ANY, "CATEGORIES": ANY,
    },
    # 3.6.6, of a displayed alarm
    "VALARM": {"ACTION": ONCE, "TRIGGER": ONCE, "DESCRIPTION": ONCE},
    # 3.6.5
    "VTIMEZONE": {"TZID": ONCE},
    "STANDARD": {"DTSTART": ONCE, "TZOFFSETFROM": ONCE, "TZOFFSETTO": ONCE, "RRULE": MOST_ONCE, "TZNAME": ANY},
}  # fmt: skip
RULES["DAYLIGHT"] = RULES["STANDARD"]
INSIDE = {
    "": {"VCALENDAR"},
    "VCALENDAR": {"VEVENT", "VTIMEZONE"},
    "VEVENT": {"VALARM"},
    "VTIMEZONE": {"STANDARD", "DAYLIGHT"},
}
NAME = r"[A-Za-z0-9-]+"
VALUE = r'"[^"\x00-\x08\x0a-\x1f\x7f]*"|[^";:,\x00-\x08\x0a-\x1f\x7f]*'
LINE = re.compile(rf"({NAME})((?:;{NAME}=(?:{VALUE})(?:,(?:{VALUE}))*)*):(.*)", re.DOTALL)  # 3.1
ONE_TEXT = r"(?:[^\\;,\x00-\x08\x0a-\x1f\x7f]|\\[\\;,nN])*"  # 3.3.11
DURATION = r"[+-]?P(?:\d+W|(?:\d+D)?(?:T(?=\d)(?:\d+H)?(?:\d+M)?(?:\d+S)?)?)(?<!P)"  # 3.3.6
DATE, DATE_TIME = r"\d{4}(?:0[1-9]|1[0-2])(?:0[1-9]|[12]\d|3[01])", r"T(?:[01]\d|2[0-3])[0-5]\d[0-5]\d"
IN_URI = r"[!#-;=?-\[\]_a-z~%]+"
TYPES = {
    "TEXT": ONE_TEXT, "TEXTS": rf"{ONE_TEXT}(?:,{ONE_TEXT})*", "DURATION": DURATION, "DATE": DATE,
    "UTC": f"{DATE}{DATE_TIME}Z", "LOCAL": f"{DATE}{DATE_TIME}", "URI": f"[a-z]+:{IN_URI}",
    "ADDRESS": f"mailto:{IN_URI}", "INTEGER": r"\d+", "OFFSET": r"[+-](?:[01]\d|2[0-3])[0-5]\d", "ACTION": "DISPLAY",
    "TRANSP": "OPAQUE|TRANSPARENT", "STATUS": "TENTATIVE|CONFIRMED|CANCELLED", "VERSION": r"2\.0",
    "CALSCALE": "GREGORIAN", "ID": NAME, "RULE": r"FREQ=[A-Z]+(?:;[A-Z]+=[A-Z0-9,+-]+)*",
}  # fmt: skip
TYPE_OF = {
    **dict.fromkeys(("PRODID", "UID", "SUMMARY", "DESCRIPTION", "LOCATION", "TZID", "TZNAME", "NAME"), "TEXT"),
    **dict.fromkeys(("DTSTAMP", "LAST-MODIFIED"), "UTC"), **dict.fromkeys(("TZOFFSETFROM", "TZOFFSETTO"), "OFFSET"),
    **dict.fromkeys(("TRIGGER", "REFRESH-INTERVAL"), "DURATION"), **dict.fromkeys(("ORGANIZER", "ATTENDEE"), "ADDRESS"),
    "CATEGORIES": "TEXTS", "URL": "URI", "SEQUENCE": "INTEGER", "METHOD": "ID", "RRULE": "RULE",
    **{name: name for name in ("TRANSP", "ACTION", "STATUS", "VERSION", "CALSCALE")},
}  # fmt: skip


@dataclass
class Component:
    name: str
    lines: list[tuple[str, dict[str, str], str]] = field(default_factory=list)
    parts: list["Component"] = field(default_factory=list)

    def all(self, name: str) -> list[tuple[dict[str, str], str]]:
        return [(params, value) for found, params, value in self.lines if found == name]

    def walk(self) -> Iterator["Component"]:
        yield self
        for part in self.parts:
            yield from part.walk()


def faults(content: bytes) -> list[str]:
    """What in this file is against the standard; nothing, when all is well."""
    lines = content.split(b"\r\n")
    if lines.pop() != b"":
        return ["3.1: the last line does not end in CRLF"]
    if any(b"\n" in line or b"\r" in line for line in lines):
        return ["3.1: a line ends otherwise than in CRLF"]
    long = [f"3.1: longer than 75 octets: {line!r}" for line in lines if len(line) > 75]
    try:
        whole = read(content.replace(b"\r\n ", b"").replace(b"\r\n\t", b"").decode())
    except ValueError as wrong:
        return [*long, str(wrong)]
    found = [fault for component in whole.walk() for fault in _of_component(component)]
    return [*long, *found, *_of_whole(whole)]


def read(text: str) -> Component:
    """The components of an unfolded file. Raises ValueError for what is no content line or stands in a wrong place."""
    stack = [Component("")]
    for line in text.removesuffix("\r\n").split("\r\n"):
        found = LINE.fullmatch(line)
        if found is None:
            raise ValueError(f"3.1: no content line: {line!r}")
        name, value = found[1].upper(), found[3]
        if name == "BEGIN":
            if value not in INSIDE.get(stack[-1].name, set()):
                raise ValueError(f"3.6: {value} inside {stack[-1].name!r}")
            stack[-1].parts.append(Component(value))
            stack.append(stack[-1].parts[-1])
        elif name == "END":
            if stack.pop().name != value:
                raise ValueError(f"3.6: {value} ends what did not begin")
        else:
            stack[-1].lines.append((name, dict(_params(found[2])), value))
    if len(stack) != 1 or len(stack[0].parts) != 1 or stack[0].lines:
        raise ValueError("3.4: not one whole calendar")
    return stack[0].parts[0]


def _params(text: str) -> Iterator[tuple[str, str]]:
    for name, value in re.findall(rf"({NAME})=((?:{VALUE})(?:,(?:{VALUE}))*)", text):
        yield name.upper(), value.strip('"')


def _of_component(part: Component) -> Iterator[str]:
    rules, counted = RULES[part.name], Counter(name for name, _, _ in part.lines)
    for name in counted:
        if name not in rules and not name.startswith("X-"):
            yield f"3.6: {name} in {part.name}"
    for name, often in rules.items():
        if (often == ONCE and counted[name] != 1) or (often == MOST_ONCE and counted[name] > 1):
            yield f"3.6: {part.name} has {name} {counted[name]} times"
    for name, params, value in part.lines:
        kind = _type(part, name, params)
        if not re.fullmatch(TYPES[kind], value):
            yield f"3.3: {name} is no {kind}: {value!r}"


def _type(part: Component, name: str, params: dict[str, str]) -> str:
    if name in ("DTSTART", "DTEND"):
        given = params.get("VALUE", "DATE-TIME")
        return "DATE" if given == "DATE" else "LOCAL" if "TZID" in params or part.name != "VEVENT" else "UTC"
    if name.startswith("X-"):
        return params.get("VALUE", "TEXT")  # 3.8.8.2
    return TYPE_OF[name]


def _of_whole(whole: Component) -> Iterator[str]:
    events = [part for part in whole.parts if part.name == "VEVENT"]
    zones = [part for part in whole.parts if part.name == "VTIMEZONE"]
    if not whole.parts:
        yield "3.6: a calendar without any component"
    if any(not zone.parts for zone in zones):
        yield "3.6.5: a zone without any rule"
    for name, often in Counter(value for event in events for _, value in event.all("UID")).items():
        if often > 1:
            yield f"3.8.4.7: {name} stands for {often} entries"
    told = {value for zone in zones for _, value in zone.all("TZID")}
    for event in events:
        used = {params["TZID"] for _, params, _ in event.lines if "TZID" in params}
        if used - told:
            yield f"3.2.19: {used - told} is told nowhere"
        yield from _of_times(event, bool(whole.all("METHOD")))


def _of_times(event: Component, has_method: bool) -> Iterator[str]:
    starts, ends = event.all("DTSTART"), event.all("DTEND")
    if not starts and not has_method:
        yield "3.6.1: without DTSTART though there is no METHOD"
    if starts and ends:
        if starts[0][0] != ends[0][0]:
            yield "3.8.2.2: DTEND is of another kind than DTSTART"
        elif starts[0][1] >= ends[0][1]:
            yield "3.8.2.2: DTEND is not later than DTSTART"
