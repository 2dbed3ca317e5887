"""Facts and a day in, a standing out: what is asked, what stands in the way, until when, and what changes next.

Each rule is heard on its own line of time. It is asked on the day, then only on the days on which it said it
might turn, earliest first over all rules, until everything the answer has to say is settled.
"""

from datetime import date, timedelta
from heapq import heapify, heappop, heappush
from typing import Any, NamedTuple

from .dates import AsOn
from .home import Home
from .lawbook import Finding, Lawbook, Topic, Voice
from .model import Answer, Basis, Building, Duty, Part, Reason, Requirement, Standing, State, Unit

_DAY = timedelta(days=1)


class Spoken(NamedTuple):
    """One voice's share of a standing on one day."""

    requirement: Requirement | None
    let_bars: tuple[Reason, ...] = ()
    sale_bars: tuple[Reason, ...] = ()
    let_warnings: tuple[Reason, ...] = ()
    sale_warnings: tuple[Reason, ...] = ()
    duties: tuple[Duty, ...] = ()


def evaluate(book: Lawbook, building: Building, unit: Unit, on: date) -> Standing:
    """The standing of a unit on a day. `building` is the one the unit is in.

    The answer does not depend on the order of records, and holds unchanged until the day before `changes_on`.
    """
    home = Home(building, unit)
    voices = book.voices[building.nation]
    spoken: list[Spoken] = []
    turning: list[tuple[date, int]] = []
    for place, voice in enumerate(voices):
        said, turns = _hear(voice, home, on)
        spoken.append(said)
        if turns is not None:
            turning.append((turns, place))
    spoken += _not_held(book, building)
    let_clear = not any(said.let_bars for said in spoken)
    sale_clear = not any(said.sale_bars for said in spoken)
    changes, let_ends, sale_ends = _ahead(voices, home, spoken, turning, let_clear, sale_clear)
    return Standing(
        unit.ref,
        on,
        Answer(let_clear, let_ends, _all(spoken, 1), _all(spoken, 3)),
        Answer(sale_clear, sale_ends, _all(spoken, 2), _all(spoken, 4)),
        tuple(said.requirement for said in spoken if said.requirement is not None),
        _all(spoken, 5),
        changes,
        tuple((pack.name, pack.version) for pack in book.speaking(building.nation)),
    )


def _all(spoken: list[Spoken], share: int) -> Any:
    return tuple(one for said in spoken for one in said[share])


def _ahead(
    voices: tuple[Voice, ...], home: Home, spoken: list[Spoken], turning: list[tuple[date, int]],
    let_clear: bool, sale_clear: bool,
) -> tuple[date | None, date | None, date | None]:  # fmt: skip
    """The first day anything differs, and the last days on which a clear let and a clear sale stay clear."""
    changes = let_ends = sale_ends = None
    heapify(turning)
    while turning and (changes is None or (let_clear and let_ends is None) or (sale_clear and sale_ends is None)):
        day, place = heappop(turning)
        said, turns = _hear(voices[place], home, day)
        if turns is not None:
            heappush(turning, (turns, place))
        if changes is None and said != spoken[place]:
            changes = day
        if let_clear and let_ends is None and said.let_bars:
            let_ends = day - _DAY
        if sale_clear and sale_ends is None and said.sale_bars:
            sale_ends = day - _DAY
    return changes, let_ends, sale_ends


def _hear(voice: Voice, home: Home, day: date) -> tuple[Spoken, date | None]:
    """What a voice says on a day, and the first later day on which it could say otherwise."""
    on, topic = AsOn(day), voice.topic
    if not on.reached(topic.begins):
        return (_spoken(topic, home, on, _too_early(topic)) if voice.verdict else Spoken(None)), on.turns
    found = voice.rule(home, topic, on)
    if voice.verdict:
        return _spoken(topic, home, on, found), on.turns
    return Spoken(None, (), (), found.warnings, found.sale_warnings, found.duties), on.turns


def _spoken(topic: Topic, home: Home, on: AsOn, found: Finding) -> Spoken:
    """A finding sent through the topic's gates: what blocks is a bar, what warns a warning."""
    requirement = Requirement(
        topic.id, topic.title, found.state, found.due, found.certificate, topic.source,
        found.basis or topic.basis, found.parts,
    )  # fmt: skip
    let, sale = found.problems, found.problems if found.sale_problems is None else found.sale_problems
    if not (let or sale or found.warnings or found.sale_warnings):
        return Spoken(requirement)
    let_warnings = found.warnings + (let if topic.let == "warn" else ())
    if topic.continuing and found.continuing and let and home.running(on):
        let_warnings += tuple(_continuing(reason) for reason in let if reason.kind != "unknown")
    return Spoken(
        requirement,
        let if topic.let == "block" else (),
        sale if topic.sale == "block" else (),
        let_warnings if topic.let != "none" else (),
        found.sale_warnings + (sale if topic.sale == "warn" else ()) if topic.sale != "none" else (),
    )


def _continuing(reason: Reason) -> Reason:
    says = f"While the home is let this goes on: {reason.says[:1].lower()}{reason.says[1:]}"
    return Reason(
        reason.requirement, reason.kind, reason.of, reason.since, says, reason.cure, reason.source, reason.basis
    )


def _too_early(topic: Topic) -> Finding:
    """Before the law we hold begins nothing is known about what was asked."""
    says = f"The law held here on this begins on {topic.begins}; what was asked before is not held."
    reason = topic.reason("unknown", says, "Ask about a later day.")
    return Finding(State.UNKNOWN, problems=(reason,))


def _not_held(book: Lawbook, building: Building) -> list[Spoken]:
    """A nation not recorded, or one whose own law is not held, bars both."""
    nation = building.nation
    if nation is not None and book.holds(nation):
        return []
    if nation is None:
        wanted, title = "nation", "Which nation's law applies"
        says, cure = "Not recorded: which nation the building is in (nation).", "Record which nation the building is in."
    else:
        name = nation.replace("_", " ").title()
        wanted, title = "law_not_held", f"The law of {name}"
        says, cure = f"The law of {name} is not held here, so nothing can be cleared.", "Ask someone who knows that law."
    source = "no law held"
    reason = Reason(wanted, "unknown", None, None, says, cure, source, Basis.HOUSE_POLICY)
    requirement = Requirement(wanted, title, State.UNKNOWN, None, None, source, Basis.HOUSE_POLICY)
    return [Spoken(requirement, (reason,), (reason,))]


def as_json(standing: Standing) -> dict[str, Any]:
    """A standing as one entry of `units` in the answer: plain types, days in ISO form."""
    return {
        "ref": standing.ref,
        "let": _answer(standing.let),
        "sale": _answer(standing.sale),
        "requirements": [_requirement(one) for one in standing.requirements],
        "duties": [_duty(one) for one in standing.duties],
        "changes_on": _iso(standing.changes_on),
    }


def _iso(day: date | None) -> str | None:
    return None if day is None else day.isoformat()


def _answer(answer: Answer) -> dict[str, Any]:
    return {
        "clear": answer.clear,
        "until": _iso(answer.until),
        "bars": [_reason(one) for one in answer.bars],
        "warnings": [_reason(one) for one in answer.warnings],
    }


def _reason(one: Reason) -> dict[str, Any]:
    return {
        "requirement": one.requirement, "kind": one.kind, "of": one.of, "since": _iso(one.since), "says": one.says,
        "cure": one.cure, "source": one.source, "basis": one.basis.value,
    }  # fmt: skip


def _requirement(one: Requirement) -> dict[str, Any]:
    return {
        "id": one.id, "title": one.title, "state": one.state.value, "due": _iso(one.due),
        "certificate": one.certificate, "source": one.source, "basis": one.basis.value,
        "parts": [_part(part) for part in one.parts],
    }  # fmt: skip


def _part(one: Part) -> dict[str, Any]:
    return {
        "of": one.of, "state": one.state.value, "due": _iso(one.due), "certificate": one.certificate,
        "anniversary_kept": one.anniversary_kept,
    }  # fmt: skip


def _duty(one: Duty) -> dict[str, Any]:
    return {
        "id": one.id, "title": one.title, "due": _iso(one.due), "party": one.party, "of": one.of,
        "state": one.state.value, "source": one.source, "basis": one.basis.value,
    }  # fmt: skip
