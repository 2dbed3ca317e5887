"""The page of an agency's house policy: what it asks on a day, what waits, and everything asked before."""

from dataclasses import dataclass
from datetime import date
from typing import Any

from portfolio.clock import moment_of
from portfolio.law.lawbook import Lawbook
from portfolio.law.loader import load
from portfolio.models import Event, HousePolicy
from portfolio.policy_words import Option, asked, differences, options
from portfolio.services.events import Verb
from portfolio.services.policies import counts_in_words


@dataclass(frozen=True)
class Asked:
    """An option with what is asked; empty where the agency asks nothing more."""

    option: Option
    says: str


@dataclass(frozen=True)
class Change:
    """One policy in the line of them."""

    row: HousePolicy
    changes: list[str]
    """What it asks otherwise than the one before it."""
    state: str
    """waiting, replaced (never came into force), in_force or past, today."""
    did: str
    """What it did when it came into force, for those who may see all the agency's homes."""


@dataclass(frozen=True)
class PolicyPage:
    rows: list[Asked]
    """As in force at the end of the day asked about."""
    current: Change | None
    """The one in force then; None: there was none yet."""
    waiting: Change | None
    history: list[Change]
    """The newest first."""
    whys: bool
    """May this person read the reasons? They are the agency's own words and may speak of anybody's homes."""


def policy_page(user: Any, *, day: date) -> PolicyPage:
    """What the agency of this person asks beyond the law."""
    book = load()
    rows = list(HousePolicy.objects.visible_to(user).select_related("asked_by").order_by("pk"))
    history = _history(rows, _did(user), book, day)
    in_force = [one for one in history if one.row.in_force_at and moment_of(one.row.in_force_at).day <= day]
    current = in_force[-1] if in_force else None
    return PolicyPage(
        rows=said(current.row.settings if current else {}, book, day),
        current=current,
        waiting=next((one for one in history if one.state == "waiting"), None),
        history=history[::-1],
        whys=user.role != "landlord",
    )


def said(settings: dict[str, Any], book: Lawbook, day: date) -> list[Asked]:
    """Every option with what these settings ask under it."""
    return [Asked(option, asked(settings, option.name, book)) for option in options(book, day)]


def _history(rows: list[HousePolicy], did: dict[str, str], book: Lawbook, day: date) -> list[Change]:
    newest_in_force = max((row.pk for row in rows if row.in_force_at), default=0)
    found: list[Change] = []
    before: dict[str, Any] = {}
    for row in rows:
        if row.in_force_at:
            state = "in_force" if row.pk == newest_in_force else "past"
        else:
            state = "waiting" if row is rows[-1] else "replaced"
        changes = differences(before, row.settings, book, day)
        found.append(Change(row, changes, state, did.get(f"policy:{row.pk}", "")))
        before = row.settings
    return found


def _did(user: Any) -> dict[str, str]:
    """By subject. A landlord sees no line that speaks of the agency's homes together."""
    lines = Event.objects.visible_to(user).filter(verb=Verb.POLICY_CAME_IN.value)
    return {line.subject: counts_in_words(line.data) for line in lines.only("subject", "data")}
