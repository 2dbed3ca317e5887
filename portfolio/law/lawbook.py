"""The law as held: packs, the topics in them and their dated values."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from datetime import date
from typing import Any, NamedTuple, cast

from .dates import AsOn, working_days_after
from .home import Home
from .model import NATIONS, Basis, Duty, Part, Reason, State

Value = int | float | bool | str | date | tuple[str, ...]


class Finding(NamedTuple):
    """What one rule says of one home: a verdict, or duties, and the reasons behind it."""

    state: State = State.MET
    due: date | None = None
    certificate: str | None = None
    problems: tuple[Reason, ...] = ()
    """What stands in the way of a let, and of a sale too unless `sale_problems` is given."""
    sale_problems: tuple[Reason, ...] | None = None
    warnings: tuple[Reason, ...] = ()
    sale_warnings: tuple[Reason, ...] = ()
    parts: tuple[Part, ...] = ()
    duties: tuple[Duty, ...] = ()
    basis: Basis | None = None
    """How sure the verdict is, where that differs from the topic."""
    continuing: bool = True
    """False when the tenancy now running is not yet, or no longer, held to this."""


@dataclass(frozen=True, slots=True)
class Dated:
    """One value and the days it holds: `start` to `end`, both included; no `end` means still in force."""

    start: date
    end: date | None
    value: Value
    source: str
    basis: Basis
    confidence: str | None = None


@dataclass(frozen=True, slots=True)
class Announced:
    """Law that has been announced but does not bind: no answer uses it unless somebody asks *what if*."""

    id: str
    says: str
    source: str
    start: date | None = None
    sets: Mapping[str, Value] = field(default_factory=dict)
    """Values of its topic that would change; empty when it cannot be reckoned with, only read."""


@dataclass(frozen=True, slots=True)
class BankHolidays:
    """Every bank holiday of a nation in the years from `first` to `last`, both included."""

    first: int
    last: int
    days: frozenset[date]
    source: str


@dataclass(frozen=True, slots=True)
class Topic:
    """One requirement as its pack states it."""

    id: str
    title: str
    asks: str
    """What it asks for, in a few plain sentences, for people who have to do it."""
    pack: str
    let: str
    """Gate for letting: block, warn, info or none."""
    sale: str
    begins: date
    source: str
    """Instrument and provision, as an answer cites them."""
    url: str
    basis: Basis
    checked_on: date
    checked_by: str
    continuing: bool
    rule: str
    duty_rule: str | None
    duty_titles: Mapping[str, str]
    values: Mapping[str, tuple[Dated, ...]]
    labels: Mapping[str, str]
    """What each value is, in words, by its name."""
    announced: tuple[Announced, ...]
    notes: str
    shelf: Mapping[str, "Topic"] = field(repr=False, compare=False)
    """Every topic of the book by id, for the few rules that read another's."""
    bank_holidays: Mapping[str, BankHolidays] = field(repr=False, compare=False)
    """By nation."""
    raised: bool = False
    """House policy lets its warnings stop a let."""

    @property
    def bars_let(self) -> bool:
        """Does what is wrong under it stop a let, and not only warn of it?"""
        return self.let == "block" or (self.raised and self.let == "warn")

    def at(self, name: str, on: AsOn) -> Any:
        """The value in force, of the type the rule said it needs."""
        entries = self.values[name]
        return entries[0].value if len(entries) == 1 else self.entry(name, on).value

    def entry(self, name: str, on: AsOn) -> Dated:
        """The value in force with its source and basis; before the first, the first.

        It is asked through `on`, so that a later change in the law becomes a turning day. A rule whose value goes
        by the law of another day, such as that of a check, asks with the `AsOn` of that day.
        """
        entries = self.values[name]
        found = entries[0]
        for later in entries[1:]:
            if not on.reached(later.start):
                break
            found = later
        return found

    # `at` under other names, for the types they promise.
    number = cast(Callable[["Topic", str, AsOn], int], at)
    words = cast(Callable[["Topic", str, AsOn], tuple[str, ...]], at)
    day = cast(Callable[["Topic", str, AsOn], date], at)

    def entry_on(self, name: str, day: date) -> Dated | None:
        """The entry in force on a settled day, such as the day of a check; None before the first."""
        for entry in reversed(self.values[name]):
            if entry.start <= day:
                return entry
        return None

    def working_days_after(self, home: Home, day: date, days: int) -> date | None:
        """The Nth working day after `day` in the nation of the home; None where its bank holidays are not held."""
        held = self.bank_holidays.get(home.building.nation or "")
        if held is None or day.year < held.first:
            return None
        last = working_days_after(day, days, held.days)
        return last if last.year <= held.last else None

    def reason(
        self, kind: str, says: str, cure: str, of: str | None = None, since: date | None = None,
        told: Dated | None = None,
    ) -> Reason:  # fmt: skip
        """A reason under this topic; `told` is the value in force whose source and basis it rests on, if one does."""
        cited = told or self
        return Reason(self.id, kind, of, since, says, cure, cited.source, cited.basis)

    def unrecorded(self, fact: str, words: str, of: str | None = None) -> Reason:
        """The reason for `unknown`: `fact` is the field's name, `words` what a person calls it."""
        says = f"Not recorded: {words} ({fact})."
        return Reason(self.id, "unknown", of, None, says, f"Record {words}.", self.source, self.basis)

    def unknown(self, *reasons: Reason) -> Finding:
        return Finding(State.UNKNOWN, problems=reasons)


RuleFunction = Callable[[Home, Topic, AsOn], Finding]


class Voice(NamedTuple):
    """A rule ready to speak for its topic: the verdict, or the duties."""

    topic: Topic
    rule: RuleFunction
    verdict: bool


@dataclass(frozen=True, slots=True)
class Pack:
    """A released body of law for some nations."""

    name: str
    title: str
    version: str
    released: date
    nations: tuple[str, ...]
    topics: tuple[Topic, ...]
    bank_holidays: BankHolidays | None = None


@dataclass(frozen=True, slots=True)
class Registered:
    """One line of the register: how far a requirement is held."""

    id: str
    title: str
    nations: tuple[str, ...]
    status: str
    """covered, partly, described (told on the law pages, nothing is asked of a home) or not_yet."""
    checked_on: date
    note: str


@dataclass(frozen=True, slots=True)
class Lawbook:
    """Every pack, in order of name, and who speaks for which nation."""

    packs: tuple[Pack, ...]
    topics: Mapping[str, Topic]
    voices: Mapping[str | None, tuple[Voice, ...]]
    """By nation; under None those that speak for every nation, for a home whose nation is not recorded."""
    versions: Mapping[str | None, tuple[tuple[str, str], ...]]
    """Name and version of the packs that speak, likewise."""

    def value(self, requirement_id: str, name: str, on: date) -> Value:
        """A dated value of a requirement, such as `max_penalty_gbp`, on a day.

        Raises `LookupError` naming what is not held: the requirement, the value, or the day.
        """
        topic = self.topics.get(requirement_id)
        if topic is None:
            raise LookupError(f"No requirement {requirement_id!r} is held.")
        if name not in topic.values:
            raise LookupError(f"{requirement_id} holds no value {name!r}.")
        entry = topic.entry_on(name, on)
        if entry is None:
            first = topic.values[name][0].start
            raise LookupError(f"{requirement_id}.{name} is held from {first}, not on {on}.")
        return entry.value

    def holds(self, nation: str) -> bool:
        """Is there a pack for this very nation, not only ones it shares?"""
        return any(pack.name == nation for pack in self.packs)


def covers(pack: Pack, nation: str | None) -> bool:
    """Does a pack speak for a nation? With no nation recorded, only one that speaks for all of them."""
    return nation in pack.nations if nation else set(NATIONS) <= set(pack.nations)
