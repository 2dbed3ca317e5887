"""What the coming months hold for a home if nothing more is recorded: what lapses, what falls due, when it stops.

Worked out from the days on which rules say they might turn, so two years ahead cost little more than a day.
"""

from dataclasses import dataclass
from datetime import date, timedelta
from typing import NamedTuple

from .evaluate import Heard, hear
from .home import Home
from .lawbook import Lawbook
from .model import Building, Duty, DutyState, Reason, State, Unit

_DAY = timedelta(days=1)


@dataclass(frozen=True, slots=True)
class Turn:
    """A requirement that answers differently from a day on."""

    day: date
    requirement: str
    title: str
    was: State
    now: State
    bars_let: bool
    bars_sale: bool
    reasons: tuple[Reason, ...]
    """What stands in the way, or is warned of, from that day."""


class Spell(NamedTuple):
    """Days, both included, through which an answer is the same."""

    first: date
    last: date
    clear: bool


@dataclass(frozen=True, slots=True)
class Ahead:
    """A home's coming days from `on` to `last`, both included."""

    on: date
    last: date
    turns: tuple[Turn, ...]
    duties: tuple[Duty, ...]
    """Duties not done whose last day falls within, by that day."""
    let: tuple[Spell, ...]
    sale: tuple[Spell, ...]


def ahead(book: Lawbook, building: Building, unit: Unit, on: date, last: date) -> Ahead:
    """Everything that changes for the home from `on` to `last` if nothing more is recorded."""
    home = Home(building, unit)
    lines = []
    for voice in book.voices[building.nation]:
        line: list[tuple[date, Heard]] = []
        day: date | None = on
        while day is not None and day <= last:
            said, after = hear(voice, home, day)
            line.append((day, said))
            day = after
        lines.append(line)
    held = building.nation is not None and book.holds(building.nation)
    turns = sorted((turn for line in lines for turn in _turns(line)), key=lambda t: (t.day, t.requirement))
    return Ahead(
        on, last, tuple(turns), _duties(lines, on, last),
        _spells(lines, on, last, "let", held), _spells(lines, on, last, "sale", held),
    )  # fmt: skip


def _turns(line: list[tuple[date, Heard]]) -> list[Turn]:
    found = []
    for (_, before), (day, after) in zip(line, line[1:], strict=False):
        same = before.let_bars == after.let_bars and before.sale_bars == after.sale_bars
        if not after.voice.verdict or (same and before.found.state == after.found.state):
            continue
        topic = after.voice.topic
        reasons = dict.fromkeys(
            (*after.let_bars, *after.sale_bars, *after.let_warnings, *after.sale_warnings)
        )
        found.append(
            Turn(
                day, topic.id, topic.title, before.found.state, after.found.state, bool(after.let_bars),
                bool(after.sale_bars), tuple(reasons),
            )
        )  # fmt: skip
    return found


def _duties(lines: list[list[tuple[date, Heard]]], on: date, last: date) -> tuple[Duty, ...]:
    found: dict[tuple[str, str, str, date], Duty] = {}
    for line in lines:
        for _, said in line:
            for duty in said.found.duties:
                if duty.due is None or not on <= duty.due <= last:
                    continue
                key = (duty.id, duty.of or "", duty.party or "", duty.due)
                if duty.state is DutyState.OPEN:
                    found.setdefault(key, duty)
                elif duty.state is DutyState.DONE:
                    found.pop(key, None)
    return tuple(sorted(found.values(), key=lambda one: (one.due or last, one.id, one.of or "")))


def _spells(
    lines: list[list[tuple[date, Heard]]], on: date, last: date, purpose: str, held: bool
) -> tuple[Spell, ...]:
    """The days of a clear and of a barred answer, one after the other."""
    changes: dict[date, list[tuple[int, bool]]] = {}
    for place, line in enumerate(lines):
        for day, said in line:
            bars = said.let_bars if purpose == "let" else said.sale_bars
            changes.setdefault(day, []).append((place, bool(bars)))
    barred = [False] * len(lines)
    spells: list[Spell] = []
    for day in sorted(changes):
        for place, is_barred in changes[day]:
            barred[place] = is_barred
        clear = held and not any(barred)
        if not spells or spells[-1].clear is not clear:
            if spells:
                spells[-1] = spells[-1]._replace(last=day - _DAY)
            spells.append(Spell(day, last, clear))
    return tuple(spells) if spells else (Spell(on, last, held),)
