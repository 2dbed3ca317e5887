"""The law as it is held, in words for reading. All that a nation's page says comes from the packs and the register."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from functools import cache

from portfolio import words
from portfolio.law.lawbook import (
    Announced,
    BankHolidays,
    Dated,
    Lawbook,
    Pack,
    Registered,
    Topic,
    Value,
    covers,
)
from portfolio.law.loader import load, register
from portfolio.law.model import NATIONS, Basis

GATES = {
    "let": {
        "block": "Stops a letting while it is not met.",
        "warn": "Is warned of; the home can be let all the same.",
        "info": "Is shown and stops no letting.",
        "none": "Is not asked.",
    },
    "sale": {
        "block": "Stops a sale while it is not met.",
        "warn": "Is warned of; the home can be sold all the same.",
        "info": "Is shown and stops no sale.",
        "none": "Is not asked.",
    },
}
HELD = {
    "covered": "Held in full, as far as we know.",
    "partly": "Held in part.",
    "described": "Told here; nothing is asked of a home.",
    "not_yet": "Not held: no home is asked about it.",
}
SURE = {"high": "fairly sure", "med": "not quite sure", "low": "unsure"}
_CODES: dict[str, str] = {
    **words.NATION, **words.LANDLORD, **words.LETTING, **words.CERTIFICATE, **words.ROOM_USE, **words.APPLIANCE,
    **words.APPLIANCE_RESULT, **words.CODE, **words.RATING, **words.DWELLING, **words.ALARM, **words.POWER,
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class HeldValue:
    """A dated value in words."""

    says: str
    entry: Dated
    holds: bool
    """Is it the one in force on the day asked about?"""
    sure: str


@dataclass(frozen=True, slots=True)
class NamedValue:
    label: str
    entries: list[HeldValue]


@dataclass(frozen=True, slots=True)
class Coming:
    """Announced law, with what it would change as (label, value) in words."""

    entry: Announced
    changes: list[tuple[str, str]]


@dataclass(frozen=True, slots=True)
class Asked:
    """A requirement as a nation's page tells it."""

    topic: Topic
    let: str
    sale: str
    notes: list[str]
    values: list[NamedValue]
    duties: list[str]
    announced: list[Coming]
    entry: Registered | None
    held: str
    begun: bool
    """Does what is held of it begin on or before the day asked about?"""


@dataclass(frozen=True, slots=True)
class PackPart:
    """A pack that speaks for the nation, and its requirements by title."""

    pack: Pack
    asked: list[Asked]

    @property
    def is_house(self) -> bool:
        return all(one.topic.basis is Basis.HOUSE_POLICY for one in self.asked)


@dataclass(frozen=True, slots=True)
class NationPage:
    nation: str
    slug: str
    title: str
    parts: list[PackPart]
    gaps: list[tuple[Registered, str]]
    """Of the register: what no requirement of the page answers for, with how far it is held in words."""
    holidays: BankHolidays | None
    checked: date
    """The day on which the longest unchecked requirement was last checked."""


@dataclass(frozen=True, slots=True)
class NationLine:
    slug: str
    title: str
    requirements: int
    announced: int
    gaps: int


def slug_of(nation: str) -> str:
    return nation.replace("_", "-")


def nation_of(slug: str) -> str | None:
    """The nation under an address, or None when there is none."""
    return next((nation for nation in NATIONS if slug_of(nation) == slug), None)


@cache
def nation_lines() -> list[NationLine]:
    """For the first law page: how much is held of each nation; as steady as the book itself."""
    pages = [nation_page(nation, max(pack.released for pack in load().packs)) for nation in NATIONS]
    return [
        NationLine(
            page.slug,
            page.title,
            sum(len(part.asked) for part in page.parts),
            sum(len(one.announced) for part in page.parts for one in part.asked),
            len(page.gaps),
        )
        for page in pages
    ]


def nation_page(nation: str, day: date) -> NationPage:
    """All that is held of a nation's law, and of what is not; `day` decides which values are marked as holding."""
    book, entries = load(), [one for one in register() if nation in one.nations]
    packs = sorted((pack for pack in book.packs if covers(pack, nation)), key=_own_first)
    known = {one.id: one for one in entries}
    parts = [PackPart(pack, _asked(book, pack, known, day)) for pack in packs]
    topics = {one.topic.id for part in parts for one in part.asked}
    return NationPage(
        nation=nation,
        slug=slug_of(nation),
        title=words.NATION[nation],
        parts=[part for part in parts if part.asked],
        gaps=[(one, HELD[one.status]) for one in entries if one.id not in topics],
        holidays=next((pack.bank_holidays for pack in packs if pack.bank_holidays), None),
        checked=min([one.checked_on for one in entries] + [book.topics[name].checked_on for name in topics]),
    )


def _own_first(pack: Pack) -> tuple[bool, int, str]:
    """The nation's own law, then what it shares, then what is no law."""
    house = all(topic.basis is Basis.HOUSE_POLICY for topic in pack.topics)
    return house, len(pack.nations), pack.name


def _asked(book: Lawbook, pack: Pack, known: dict[str, Registered], day: date) -> list[Asked]:
    return [
        Asked(
            topic=topic,
            let=GATES["let"][topic.let],
            sale=GATES["sale"][topic.sale],
            notes=[line.strip() for line in topic.notes.splitlines() if line.strip()],
            values=[NamedValue(topic.labels[name], _dated(name, topic, day)) for name in topic.values],
            duties=list(topic.duty_titles.values()),
            announced=[Coming(one, _changes(topic, one)) for one in topic.announced],
            entry=known.get(topic.id),
            held=HELD[known[topic.id].status] if topic.id in known else "",
            begun=topic.begins <= day,
        )
        for topic in sorted(pack.topics, key=lambda one: one.title)
    ]


def _dated(name: str, topic: Topic, day: date) -> list[HeldValue]:
    holding = topic.entry_on(name, day) if topic.begins <= day else None
    return [
        HeldValue(value_words(name, one.value), one, one is holding, SURE.get(one.confidence or "", ""))
        for one in topic.values[name]
    ]


def _changes(topic: Topic, entry: Announced) -> list[tuple[str, str]]:
    return [(topic.labels[name], value_words(name, value)) for name, value in entry.sets.items()]


def value_words(name: str, value: Value) -> str:
    """A value in words; its label says what it is and in which unit."""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, date):
        return f"{value:%-d %B %Y}"
    if isinstance(value, tuple):
        return "; ".join(_code(one) for one in value) or "none"
    if isinstance(value, str):
        return _code(value)
    return f"£{value:,}" if name.endswith("_gbp") else f"{value:,}"


def _code(code: str) -> str:
    """A code in words; "scheme code" for those that come with their scheme."""
    scheme, _, rest = code.partition(" ")
    if rest and scheme in words.SCHEME:
        return f"{words.SCHEME[scheme]}: {_CODES.get(rest, rest)}"
    return _CODES.get(code, code)


def duty_titles(topics: Iterable[Topic]) -> dict[str, str]:
    """What each duty asks, by its id ("requirement.duty")."""
    return {f"{topic.id}.{name}": title for topic in topics for name, title in topic.duty_titles.items()}
