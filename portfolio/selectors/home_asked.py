"""What is asked of one home, what is due because something happened, and what the coming months hold."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, timedelta

from portfolio import words
from portfolio.facts import Facts
from portfolio.law import model as law
from portfolio.law.dates import add_months
from portfolio.law.lawbook import Lawbook
from portfolio.law.lookahead import Spell, Turn, ahead
from portfolio.models import Unit
from portfolio.selectors.reasons import Shown, shown
from portfolio.selectors.steps import Spoken, Step, step_for_duty, step_to_renew, step_to_send

MONTHS_AHEAD = 24
RENEW_SOON = timedelta(days=90)
GATES = {
    ("block", "block"): "stops a let and a sale",
    ("block", "warn"): "stops a let; a warning on a sale",
    ("warn", "warn"): "a warning on a let and on a sale",
    ("warn", "block"): "a warning on a let; stops a sale",
}
_ALONE = {"block": "stops a {}", "warn": "a warning on a {}"}
_GRAVE = ("block", "warn", "info", "none")
TOLD = "for information; stops nothing"
_FIRST = (law.State.NOT_MET, law.State.UNKNOWN, law.State.MET)


@dataclass(frozen=True, slots=True)
class Asked:
    """A requirement that applies to the home. `does`: its gate in words."""

    requirement: law.Requirement
    does: str
    remarks: list[Shown]
    """Why it is not met or not known, where no bar and no warning says so already."""
    renew: Step | None = None
    """Where a contractor can be asked to renew what answers it, when it has run out or soon will."""
    renewal_asked: str = ""
    """Who was asked already, and when."""


@dataclass(frozen=True, slots=True)
class DutyRow:
    duty: law.Duty
    about: str
    party: str
    step: Step | None
    """Where it is recorded that it is done; None when it is done."""
    send: Step | None = None
    """Where it can be done by e-mail, if it asks for a copy."""


@dataclass(frozen=True, slots=True)
class TurnRow:
    """From `day` on a requirement answers otherwise: `says` how, `why` the first reason if there is one."""

    day: date
    title: str
    says: str
    why: str
    barred: bool
    renew: Step | None = None
    renewal_asked: str = ""
    """Both as for Asked, where what answers the requirement runs out."""


@dataclass(slots=True)
class Month:
    """What turns and what falls due in one month, if nothing more is recorded."""

    first: date
    turns: list[TurnRow] = field(default_factory=list)
    duties: list[DutyRow] = field(default_factory=list)

    @property
    def lines(self) -> list[tuple[TurnRow | None, DutyRow | None]]:
        """Turns and duties together, by their day; what has to be done comes before what happens if it is not."""
        turns = [(turn.day, 1, turn, None) for turn in self.turns]
        owed = [(row.duty.due or self.first, 0, None, row) for row in self.duties]
        return [(turn, row) for _, _, turn, row in sorted([*turns, *owed], key=lambda line: line[:2])]


@dataclass(frozen=True, slots=True)
class Coming:
    """The days from the one asked about to `last`; `spells` are those on which a let, or a sale, is clear."""

    last: date
    months: list[Month]
    spells: list[tuple[str, list[Spell]]]
    then: dict[str, str]
    """For a let and a sale that are clear on the day: what bars them first, empty if nothing does by `last`."""


def gate_words(requirement: law.Requirement, book: Lawbook) -> str:
    """What a requirement does to a let and a sale while it is not met."""
    topic = book.topics.get(requirement.id)
    let, sale = requirement.let, requirement.sale
    if topic is not None and topic.raised and let == "warn":
        let = "block"
    if together := GATES.get((let, sale)):
        return together
    return _ALONE[let].format("let") if let in _ALONE else _ALONE.get(sale, TOLD).format("sale")


def asked_of(
    standing: law.Standing, home: Spoken, book: Lawbook
) -> tuple[list[Asked], list[law.Requirement]]:
    """What applies, worst first and then by last good day; and what does not apply."""
    apply = [one for one in standing.requirements if one.state in _FIRST]
    apply.sort(key=_worst_first)
    rest = [one for one in standing.requirements if one.state not in _FIRST]
    return (
        [_asked(one, home, book, standing.on) for one in apply],
        sorted(rest, key=lambda one: one.title),
    )


def _asked(one: law.Requirement, home: Spoken, book: Lawbook, day: date) -> Asked:
    soon = one.due is not None and one.due - day <= RENEW_SOON
    return Asked(
        one,
        gate_words(one, book),
        shown(one.remarks, home),
        step_to_renew(one.id, home.unit) if soon else None,
        _renewal_asked(one.id, one.due, home) if soon else "",
    )


def _renewal_asked(code: str, due: date | None, home: Spoken) -> str:
    return home.renewals.get((code, due.isoformat()), "") if due else ""


def _worst_first(one: law.Requirement) -> tuple[int, int, date, str]:
    """What is not met or not known by what it stops; what is met by its last good day."""
    met = one.state is law.State.MET
    weight = 0 if met else min(_GRAVE.index(one.let), _GRAVE.index(one.sale))
    return _FIRST.index(one.state), weight, one.due or date.max, one.title


def duty_rows(duties: Iterable[law.Duty], names: Mapping[str, str], unit: Unit) -> list[DutyRow]:
    """Duties by their last day, those done last."""
    return [_duty_row(duty, names, unit) for duty in sorted(duties, key=_by_due)]


def _by_due(duty: law.Duty) -> tuple[bool, date, str, str]:
    return duty.state == law.DutyState.DONE, duty.due or date.max, duty.by or "", duty.id


def _duty_row(duty: law.Duty, names: Mapping[str, str], unit: Unit) -> DutyRow:
    party = words.PARTY.get(duty.party or "", "")
    step = step_for_duty(duty, unit)
    send = step_to_send(duty.id, duty.of or "", duty.party or "", unit) if step else None
    return DutyRow(duty, names.get(duty.of or "", ""), party, step, send)


def coming(facts: Facts, home: Spoken, book: Lawbook, day: date) -> Coming:
    """The next two years of a home, month by month; months in which nothing happens are left out."""
    last = add_months(day, MONTHS_AHEAD)
    seen = ahead(book, *facts, day, last)
    months: dict[date, Month] = {}

    def month_of(on: date) -> Month:
        first = on.replace(day=1)
        return months.setdefault(first, Month(first))

    told: dict[str, tuple[law.Reason, ...]] = {}
    for turn in seen.turns:
        month_of(turn.day).turns.append(_turn_row(turn, told.get(turn.requirement, ()), home))
        told[turn.requirement] = turn.reasons
    for duty in seen.duties:
        if duty.due is not None:
            month_of(duty.due).duties.append(_duty_row(duty, home.names, home.unit))
    spells = [
        (purpose, [one for one in found if one.clear])
        for purpose, found in (("let", seen.let), ("sale", seen.sale))
    ]
    then = {"let": _ends_by(seen.let, seen.turns, "let"), "sale": _ends_by(seen.sale, seen.turns, "sale")}
    return Coming(last, [months[first] for first in sorted(months)], spells, then)


def _ends_by(spells: Sequence[Spell], turns: Iterable[Turn], purpose: str) -> str:
    """What bars a let or a sale on the day after its first spell, if that spell is clear and ends."""
    if len(spells) < 2 or not spells[0].clear:
        return ""
    turned = (turn for turn in turns if turn.day == spells[1].first)
    barring = (turn for turn in turned if (turn.bars_let if purpose == "let" else turn.bars_sale))
    return next((words.plainly(turn.reasons[0].says) for turn in barring if turn.reasons), "")


_NOW = {
    law.State.MET: "met",
    law.State.NOT_MET: "no longer met",
    law.State.UNKNOWN: "no longer known",
    law.State.NOT_APPLICABLE: "no longer applies",
}
_STILL = {
    law.State.MET: "still met",
    law.State.NOT_MET: "not met",
    law.State.UNKNOWN: "not known",
    law.State.NOT_APPLICABLE: "still does not apply",
}


def _turn_row(turn: Turn, told: tuple[law.Reason, ...], home: Spoken) -> TurnRow:
    """`told`: the reasons of this requirement's turn before, so that what is new is said."""
    says = _STILL[turn.now] if turn.was is turn.now else _NOW[turn.now]
    if turn.was is law.State.NOT_APPLICABLE and turn.now is not turn.was:
        says = f"begins to apply, {'met' if turn.now is law.State.MET else _STILL[turn.now]}"
    barred = (("let", turn.bars_let), ("sale", turn.bars_sale))
    stopped = " and ".join(f"a {purpose}" for purpose, bars in barred if bars)
    reasons = [one for one in turn.reasons if one not in told] or turn.reasons
    why = words.plainly(reasons[0].says) if reasons else ""
    runs_out = turn.was is law.State.MET and turn.now is law.State.NOT_MET
    return TurnRow(
        turn.day,
        turn.title,
        f"{says}; stops {stopped}" if stopped else says,
        why,
        bool(stopped),
        step_to_renew(turn.requirement, home.unit) if runs_out else None,
        _renewal_asked(turn.requirement, turn.day - timedelta(days=1), home) if runs_out else "",
    )
