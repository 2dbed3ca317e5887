"""What one cell says: words, days, numbers. Never a guess: what can be read two ways is refused, with a cure."""

import re
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta

from portfolio.exchange.sheets.write import FORMULA_STARTS

SPACES = re.compile(r"[\s\u00a0\u2007\u202f\u200b\u200e\u200f\u2060\ufeff]+")
UNPRINTABLE = re.compile(r"[\x00-\x08\x0b\x0c\x0e-\x1f\x7f\ud800-\udfff\ufffe\uffff]")
NOT_RECORDED = frozenset(
    (
        "",
        "-",
        "--",
        "–",
        "—",
        ".",
        "?",
        "??",
        "n/a",
        "na",
        "n.a.",
        "n\\a",
        "nk",
        "n/k",
        "tbc",
        "tba",
        "t.b.c.",
    )
    + ("unknown", "not known", "not recorded", "not applicable", "to be confirmed", "to follow", "awaited")
)
NONE = frozenset(("none", "nil", "no"))
YES = frozenset(("yes", "y", "true"))
NO = frozenset(("no", "n", "false"))
MONTHS = ("jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec")
LONG_MONTHS = ("january", "february", "march", "april", "may", "june", "july", "august", "september") + (
    "october", "november", "december",
)  # fmt: skip
MONTH_NAMES = {name: at for names in (MONTHS, LONG_MONTHS) for at, name in enumerate(names, start=1)} | {
    "sept": 9
}
WEEKDAYS = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")
CLOCK_TIME = r"(?:[ T,]+\d{1,2}:\d{2}(?::\d{2}(?:\.\d+)?)?(?: ?[ap]m)?)?"
ISO = re.compile(rf"(\d{{4}})-(\d{{1,2}})-(\d{{1,2}}){CLOCK_TIME}", re.IGNORECASE | re.ASCII)
NUMBERS = re.compile(
    rf"(\d{{1,2}})([/.\- ])(\d{{1,2}})\2(\d{{4}}|\d{{2}}){CLOCK_TIME}", re.IGNORECASE | re.ASCII
)
WORDS = re.compile(
    r"(?:(?P<weekday>[a-z]{3,9})\.?,? )?"
    r"(?:(?P<day>\d{1,2})(?:st|nd|rd|th)?(?: of)?[ \-/.]?(?P<month>[a-z]{3,9})\.?,?[ \-/.]?'?"
    # With the month first, "April 2026" must not be taken for the 20th.
    r"|(?P<month2>[a-z]{3,9})\.? (?P<day2>\d{1,2})(?:st|nd|rd|th)?(?:, ?|[ \-/.])'?)"
    r"(?P<year>\d{4}|\d{2})" + CLOCK_TIME,
    re.IGNORECASE | re.ASCII,
)
SERIAL = re.compile(r"\d{5}(?:\.\d+)?", re.ASCII)
EPOCH_1900 = date(1899, 12, 30)
"""Day 0 of a workbook's day numbers, set so that every number from 1 March 1900 on comes out right."""
EPOCH_1904 = date(1904, 1, 1)
FIRST_SERIAL_DAY, LAST_SERIAL_DAY = date(1950, 1, 1), date(2100, 1, 1)
WRITE_A_DAY = "write the day as 3 Apr 2026"


class Bad(Exception):
    """A cell that cannot be taken as it is: what is wrong, and how to cure it."""

    def __init__(self, wrong: str, cure: str) -> None:
        super().__init__(f"{wrong}: {cure}")
        self.wrong, self.cure = wrong, cure


@dataclass(frozen=True, slots=True)
class Cell:
    """A cell by its name (`Sheet1!F12`). `problem` says why its value must not be trusted (a formula, an error)."""

    name: str
    value: object = None
    problem: str | None = None
    epoch: date = EPOCH_1900

    @property
    def blank(self) -> bool:
        return self.problem is None and not plain(self.value)


def plain(value: object) -> str:
    """A value as one line of text: odd spaces made ordinary, our own protective apostrophe taken off."""
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, float) and value.is_integer() and abs(value) < 1e15:
        return str(int(value))
    if isinstance(value, datetime) and value.time() == time():
        value = value.date()
    text = SPACES.sub(" ", str(value)).strip()
    return text[1:] if text.startswith("'") and FORMULA_STARTS.match(text[1:]) else text


def lines(value: object) -> list[str]:
    """Text that may hold several lines, each made plain; blank ones left out."""
    return [line for line in map(plain, value.splitlines() if isinstance(value, str) else [value]) if line]


def is_recorded(cell: Cell) -> bool:
    return cell.problem is not None or plain(cell.value).casefold() not in NOT_RECORDED


def says_none(cell: Cell) -> bool:
    return plain(cell.value).casefold() in NONE


def inert(text: str) -> str:
    """Text for a field that is not free: what looks like a formula is refused."""
    if FORMULA_STARTS.match(text):
        raise Bad(f"starts like a formula ({short(text)})", "write the plain value")
    return text


def printable(text: str) -> str:
    if UNPRINTABLE.search(text):
        raise Bad("holds a character that cannot be shown", "type the text again")
    return text


def short(text: str) -> str:
    """Text for a message, cut where it would be long."""
    text = UNPRINTABLE.sub("\N{REPLACEMENT CHARACTER}", text)
    return f"“{text[:60]}…”" if len(text) > 60 else f"“{text}”"


def yes_no(cell: Cell) -> bool:
    word = plain(cell.value).casefold()
    if word in YES or word in NO:
        return word in YES
    raise Bad(f"{short(plain(cell.value))} is neither yes nor no", "write yes or no, or leave it empty")


def whole_number(cell: Cell, lowest: int, highest: int) -> int:
    text = plain(cell.value)
    if not re.fullmatch(r"\d{1,6}", text, re.ASCII) or not lowest <= int(text) <= highest:
        raise Bad(f"{short(text)} is not a whole number from {lowest} to {highest}", "write the number alone")
    return int(text)


def number(cell: Cell, highest: float) -> float:
    """A number not below 0, with at most a unit of metres or years behind it."""
    found = re.fullmatch(
        r"(\d{1,6}(?:\.\d+)?) ?(?:m|metres|meters|years|yrs)?", plain(cell.value).casefold(), re.ASCII
    )
    if not found or float(found[1]) > highest:
        raise Bad(
            f"{short(plain(cell.value))} is not a number from 0 to {highest:g}", "write the number alone"
        )
    return float(found[1])


def code(cell: Cell, table: Mapping[str, str], meaning: str) -> str:
    """The stored code for a word; `table` maps every known word to its code."""
    text = plain(cell.value)
    word = re.sub(r"[^\w]+", " ", text.casefold()).strip()
    if word not in table:
        known = ", ".join(sorted({code.replace("_", " ") for code in table.values()}))
        raise Bad(f"{short(text)} is not {meaning} we know", f"write one of: {known}")
    return table[word]


def day(cell: Cell) -> tuple[date, str | None]:
    """The day a cell holds, day first always, and a note where it had to be read. Raises Bad."""
    value = cell.value
    if isinstance(value, datetime):
        return _within(value.date(), str(value.date())), None
    if isinstance(value, date):
        return _within(value, str(value)), None
    if isinstance(value, time | timedelta | bool):
        raise Bad("holds a time, not a day" if not isinstance(value, bool) else "is not a day", WRITE_A_DAY)
    if isinstance(value, int | float):
        return _told(_serial(float(value), cell.epoch), f"the day number {plain(value)}")
    return day_in_text(plain(value), cell.epoch)


def day_in_text(text: str, epoch: date = EPOCH_1900) -> tuple[date, str | None]:
    """The day written in a text. Raises Bad for anything that is not one whole, possible day."""
    if found := ISO.fullmatch(text):
        return _made(int(found[1]), int(found[2]), int(found[3]), text), None
    if found := NUMBERS.fullmatch(text):
        made = _made(_year(found[4]), int(found[3]), int(found[1]), text)
        return (made, None) if len(found[4]) == 4 else _told(made, short(text))
    if SERIAL.fullmatch(text):
        return _told(_serial(float(text), epoch), f"the day number {text}")
    if (found := WORDS.fullmatch(text)) and _weekday_known(found["weekday"]):
        return _in_words(found, text)
    raise Bad(f"{short(text)} is not one whole day", f"{WRITE_A_DAY}, with day, month and year")


def _in_words(found: re.Match[str], text: str) -> tuple[date, str | None]:
    month = MONTH_NAMES.get((found["month"] or found["month2"]).casefold())
    if month is None:
        raise Bad(f"{short(text)} names no month we know", WRITE_A_DAY)
    made = _made(_year(found["year"]), month, int(found["day"] or found["day2"]), text)
    weekday = (found["weekday"] or WEEKDAYS[made.weekday()]).casefold()
    if not weekday.startswith(WEEKDAYS[made.weekday()]):
        raise Bad(f"{short(text)} was not that day of the week", "correct the day or leave out the weekday")
    return (made, None) if len(found["year"]) == 4 else _told(made, short(text))


def _told(made: date, written: str) -> tuple[date, str]:
    """A day that had to be read out of what was written, with a note that shows how."""
    return made, f"{written} is read as {made:%-d %b %Y}"


def _weekday_known(word: str | None) -> bool:
    return word is None or word.casefold()[:3] in WEEKDAYS


def _year(digits: str) -> int:
    """Two figures: 00 to 79 are in this century, 80 to 99 in the last."""
    if len(digits) == 4:
        return int(digits)
    return int(digits) + (2000 if int(digits) < 80 else 1900)


def _made(year: int, month: int, day_of_month: int, text: str) -> date:
    try:
        made = date(year, month, day_of_month)
    except ValueError as impossible:
        if month > 12 and 1 <= day_of_month <= 12 and month <= 31 and not ISO.fullmatch(text):
            turned = f"{month:02}/{day_of_month:02}/{year}"
            raise Bad(f"{short(text)} has the month first", f"write the day first ({turned})") from impossible
        raise Bad(f"{short(text)} is a day that does not exist", WRITE_A_DAY) from impossible
    return _within(made, text)


def _within(made: date, text: str) -> date:
    if not 1900 <= made.year <= 2199:
        raise Bad(f"{short(text)} lies outside the years 1900 to 2199", "correct the year")
    return made


def _serial(days: float, epoch: date) -> date:
    if not (FIRST_SERIAL_DAY - epoch).days <= days < (LAST_SERIAL_DAY - epoch).days:
        raise Bad(f"the number {plain(days)} is not a day", WRITE_A_DAY)
    return epoch + timedelta(days=int(days))
