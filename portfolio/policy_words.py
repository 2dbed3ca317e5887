"""A house policy in plain English: what can be asked, what is asked of every home anyhow, and what changed."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from typing import Any

from portfolio import words
from portfolio.law.lawbook import Lawbook
from portfolio.law.model import CODES, RATINGS, SCHEMES
from portfolio.law.policy import REPAIR_DAYS, always_dangers, warnings_of

STANDARDS = ("bs7671", "igem_g11")
"""Schemes whose codes go by their letters."""
IN_DATE = "To be in date on the day the letting begins."
PAPERS = {
    "gas_margin_days": "gas check",
    "electrical_margin_days": "electrical report",
    "energy_margin_days": "energy certificate",
}
PRESSING = {"urgent": "Days to mend what is urgent", "soon": "Days to mend what is to be done soon",
            "plan": "Days to mend what is to be planned"}  # fmt: skip
NOTHING = "nothing more"


@dataclass(frozen=True, slots=True)
class Option:
    """One thing that an agency may ask beyond the law."""

    name: str
    """The setting; for codes "also_dangers." and their scheme, for defects "repair_days." and how pressing they are."""
    label: str
    anyhow: str
    """What is asked of every home whatever the policy."""


def options(book: Lawbook, day: date) -> list[Option]:
    """Everything that can be asked, in the order in which pages show it."""
    open_codes = [
        Option(f"also_dangers.{scheme}", f"Open defects that also bar: {words.SCHEME[scheme]}", _always(book, scheme))
        for scheme in SCHEMES if codes_to_add(book, scheme)
    ]  # fmt: skip
    return [
        *(Option(name, f"Days in hand: {paper}", IN_DATE) for name, paper in PAPERS.items()),
        Option("worst_band", "Worst energy band that is let", _band(book, day)),
        Option("alarm_test_months", "Longest time between tests of an alarm", "No time is set."),
        *open_codes,
        *(Option(f"repair_days.{name}", PRESSING[name], _practice(name)) for name in REPAIR_DAYS),
        Option("warnings_that_bar", "Warnings that stop a letting", "A warning only: the home can be let."),
    ]


def codes_to_add(book: Lawbook, scheme: str) -> list[str]:
    """The codes of a scheme that do not bar anyhow."""
    return [code for code in CODES[scheme] if code not in always_dangers(book, scheme)]


def warnings_in_words(book: Lawbook) -> dict[str, str]:
    """Title and nations of each requirement that warns of a let, by id."""
    nations = {pack.name: pack.nations for pack in book.packs}
    return {
        name: f"{topic.title} ({_listed([words.NATION[one] for one in nations[topic.pack]])})"
        for name in warnings_of(book) for topic in [book.topics[name]]
    }  # fmt: skip


def asked(settings: Mapping[str, Any], name: str, book: Lawbook) -> str:
    """What the settings ask under an option; empty when they ask nothing."""
    if name.startswith("also_dangers."):
        scheme = name.partition(".")[2]
        return _listed([words.CODE[code] for code in (settings.get("also_dangers") or {}).get(scheme, ())])
    value = settings.get(name)
    if name.startswith("repair_days."):
        value = (settings.get("repair_days") or {}).get(name.partition(".")[2])
    if not value:
        return ""
    if name == "warnings_that_bar":
        titles = warnings_in_words(book)
        return _listed([titles.get(one) or _title(book, one) for one in value])
    if name == "worst_band":
        return band(value)
    unit = "month" if name == "alarm_test_months" else "day"
    return f"{value} {unit}{'' if value == 1 else 's'}"


def band(letter: str) -> str:
    return letter if letter == RATINGS[0] else f"{letter} or better"


def differences(before: Mapping[str, Any], after: Mapping[str, Any], book: Lawbook, day: date) -> list[str]:
    """What the second asks otherwise than the first, a phrase for each option."""
    found = []
    for option in options(book, day):
        was, now = asked(before, option.name, book), asked(after, option.name, book)
        if was != now:
            found.append(f"{option.label}: {now or NOTHING} (before: {was or NOTHING})")
    return found


def _title(book: Lawbook, name: str) -> str:
    return book.topics[name].title if name in book.topics else name


def _always(book: Lawbook, scheme: str) -> str:
    short = scheme in STANDARDS
    *most, last = [code if short else f"‘{words.CODE[code]}’" for code in always_dangers(book, scheme)]
    if not most:
        return f"{last} bars both letting and sale."
    return f"{', '.join(most)} and {last} bar both letting and sale."


def _practice(name: str) -> str:
    """What is asked of every home; no law says so, and a day the law sets always counts when it is earlier."""
    more = ", and 28 for what has to be looked into (FI)" if name == "urgent" else ""
    return f"{REPAIR_DAYS[name]} days from the day it was found{more}, or the earlier day that the law sets."


def _band(book: Lawbook, day: date) -> str:
    """The worst band the law lets; only England and Wales have such a rule."""
    try:
        barred = book.value("ew_mees", "barred_ratings", day)
    except LookupError:
        return "The law of that day is not held here."
    worst = max(letter for letter in RATINGS if not isinstance(barred, tuple) or letter not in barred)
    return f"In England and Wales {band(worst)}, unless an exemption is registered."


def _listed(said: list[str]) -> str:
    return f"{'; '.join(said[:-1])}; {said[-1]}" if len(said) > 1 else "".join(said)
