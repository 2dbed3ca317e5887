"""Facts and a day in, a standing out: what is asked, what stands in the way, until when, what changes next.

Each rule is heard on its own line of time. It is asked on the day, then only on the days on which it said it
might turn, earliest first over all rules, until everything the answer has to say is settled.
"""

from collections.abc import Iterable
from datetime import date, timedelta
from heapq import heapify, heappop, heappush
from itertools import chain
from typing import Any, NamedTuple, TypeVar

from .dates import AsOn
from .home import Home
from .lawbook import Finding, Lawbook, Topic, Voice
from .model import Answer, Basis, Building, Duty, Part, Reason, Requirement, Standing, State, Unit

T = TypeVar("T")
_DAY = timedelta(days=1)
SPEAKING = ("block", "warn")
"""Gates that say something in an answer; the others only show in the list of requirements."""


class Heard(NamedTuple):
    """What one voice says on one day."""

    voice: Voice
    found: Finding
    goes_on: bool
    """A tenancy is running that is held to this, so that a failure is a continuing breach."""

    @property
    def shown(self) -> tuple[object, ...]:
        """All that an answer shows of it: two of these differ exactly when the answers do."""
        found = self.found
        basis = found.basis or self.voice.topic.basis
        verdict = (found.state, found.due, found.certificate, basis, found.parts, found.duties)
        if not self.is_loud:
            return verdict
        said = (self.let_bars, self.sale_bars, self.let_warnings, self.sale_warnings, self.remarks)
        return (*verdict, *said)

    @property
    def is_loud(self) -> bool:
        """Is there any bar or warning in it?"""
        found = self.found
        return bool(found.problems or found.warnings or found.sale_problems or found.sale_warnings)

    @property
    def let_bars(self) -> tuple[Reason, ...]:
        topic, problems = self.voice.topic, self.found.problems
        if not topic.bars_let:
            return ()
        return problems if topic.let == "block" else tuple(_raised(one) for one in problems)

    @property
    def sale_bars(self) -> tuple[Reason, ...]:
        return self._sale_problems if self.voice.topic.sale == "block" else ()

    @property
    def let_warnings(self) -> tuple[Reason, ...]:
        topic, found = self.voice.topic, self.found
        said = found.problems if topic.let == "warn" and not topic.raised else ()
        breaches = (
            (_continuing(one) for one in found.problems if one.kind != "unknown") if self.goes_on else ()
        )
        return (*found.warnings, *said, *breaches) if topic.let in SPEAKING else ()

    @property
    def sale_warnings(self) -> tuple[Reason, ...]:
        gate = self.voice.topic.sale
        return (
            self.found.sale_warnings + (self._sale_problems if gate == "warn" else ())
            if gate in SPEAKING
            else ()
        )

    @property
    def remarks(self) -> tuple[Reason, ...]:
        """Reasons under a requirement that neither bars nor warns, for whoever reads its verdict."""
        topic = self.voice.topic
        if topic.let in SPEAKING or topic.sale in SPEAKING:
            return ()
        return (*self.found.problems, *self.found.warnings)

    @property
    def _sale_problems(self) -> tuple[Reason, ...]:
        return self.found.problems if self.found.sale_problems is None else self.found.sale_problems


def evaluate(book: Lawbook, building: Building, unit: Unit, on: date) -> Standing:
    """The standing of a unit on a day. `building` is the one the unit is in.

    The answer does not depend on the order of records, and holds unchanged until the day before `changes_on`.
    """
    home = Home(building, unit)
    heard: list[Heard] = []
    turning: list[tuple[date, int]] = []
    for place, voice in enumerate(book.voices[building.nation]):
        said, turns = hear(voice, home, on)
        heard.append(said)
        if turns is not None:
            turning.append((turns, place))
    gap = _not_held(book, building)
    loud = [one for one in heard if one.is_loud]
    let_bars = _all(one.let_bars for one in loud) + gap
    sale_bars = _all(one.sale_bars for one in loud) + gap
    changes, let_ends, sale_ends = _ahead(home, heard, turning, not let_bars, not sale_bars)
    let = Answer(not let_bars, let_ends, let_bars, _all(one.let_warnings for one in loud))
    sale = Answer(not sale_bars, sale_ends, sale_bars, _all(one.sale_warnings for one in loud))
    requirements = [_requirement_of(one) for one in heard if one.voice.verdict]
    requirements += [_missing(one) for one in gap]
    duties = _all(one.found.duties for one in heard)
    packs = book.versions[building.nation]
    return Standing(unit.ref, on, let, sale, tuple(requirements), duties, changes, packs)


def _all(shares: Iterable[tuple[T, ...]]) -> tuple[T, ...]:
    return tuple(chain.from_iterable(shares))


def _ahead(
    home: Home, heard: list[Heard], turning: list[tuple[date, int]], let_clear: bool, sale_clear: bool
) -> tuple[date | None, date | None, date | None]:
    """The first day anything differs, and the last days on which a clear let and a clear sale stay clear."""
    changes = let_ends = sale_ends = None
    heapify(turning)
    while turning and (changes is None or (let_clear and not let_ends) or (sale_clear and not sale_ends)):
        day, place = heappop(turning)
        voice = heard[place].voice
        ends_let = let_clear and not let_ends and voice.topic.bars_let
        ends_sale = sale_clear and not sale_ends and voice.topic.sale == "block"
        if changes and not ends_let and not ends_sale:
            continue
        said, turns = hear(voice, home, day)
        if turns is not None:
            heappush(turning, (turns, place))
        if changes is None and said.shown != heard[place].shown:
            changes = day
        if let_clear and let_ends is None and said.let_bars:
            let_ends = day - _DAY
        if sale_clear and sale_ends is None and said.sale_bars:
            sale_ends = day - _DAY
    return changes, let_ends, sale_ends


def hear(voice: Voice, home: Home, day: date) -> tuple[Heard, date | None]:
    """What a voice says on a day, and the first later day on which it could say otherwise."""
    on, topic = AsOn(day), voice.topic
    if not on.reached(topic.begins):
        return Heard(voice, _too_early(topic) if voice.verdict else Finding(), False), on.turns
    found = voice.rule(home, topic, on)
    held = bool(found.problems) and topic.continuing and found.continuing
    return Heard(voice, found, held and bool(home.running(on))), on.turns


def _requirement_of(heard: Heard) -> Requirement:
    topic, found = heard.voice.topic, heard.found
    basis = found.basis or topic.basis
    return Requirement(
        topic.id, topic.title, found.state, found.due, found.certificate, topic.source, basis, found.parts,
        topic.let, topic.sale, heard.remarks if found.problems or found.warnings else (),
    )  # fmt: skip


def _raised(reason: Reason) -> Reason:
    """A warning of the law that the house lets stop a let."""
    return reason._replace(basis=Basis.HOUSE_POLICY, source=f"House policy on {reason.source}")


def _continuing(reason: Reason) -> Reason:
    says = f"While the home is let this goes on: {reason.says[:1].lower()}{reason.says[1:]}"
    return reason._replace(says=says)


def _too_early(topic: Topic) -> Finding:
    """Before the law we hold begins nothing is known about what was asked."""
    says = f"The law held here on this begins on {topic.begins}; what was asked before is not held."
    reason = topic.reason("unknown", says, "Ask about a later day.")
    return Finding(State.UNKNOWN, problems=(reason,))


def _not_held(book: Lawbook, building: Building) -> tuple[Reason, ...]:
    """A nation not recorded, or one whose own law is not held, bars both."""
    nation = building.nation
    if nation is not None and book.holds(nation):
        return ()
    if nation is None:
        says = "Not recorded: which nation the building is in (nation)."
        return (_gap("nation", says, "Record which nation the building is in."),)
    says = f"The law of {nation.replace('_', ' ').title()} is not held here, so nothing can be cleared."
    return (_gap("law_not_held", says, "Ask someone who knows that law."),)


def _gap(wanted: str, says: str, cure: str) -> Reason:
    return Reason(wanted, "unknown", None, None, says, cure, "no law held", Basis.HOUSE_POLICY)


def _missing(gap: Reason) -> Requirement:
    title = "The law of the nation the home is in"
    return Requirement(gap.requirement, title, State.UNKNOWN, None, None, gap.source, gap.basis)


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
        "requirement": one.requirement, "kind": one.kind, "of": one.of, "since": _iso(one.since),
        "says": one.says, "cure": one.cure, "source": one.source, "basis": one.basis.value,
    }  # fmt: skip


def _requirement(one: Requirement) -> dict[str, Any]:
    return {
        "id": one.id, "title": one.title, "state": one.state.value, "due": _iso(one.due),
        "certificate": one.certificate, "source": one.source, "basis": one.basis.value,
        "parts": [_part(part) for part in one.parts],
        "let": one.let, "sale": one.sale, "remarks": [_reason(remark) for remark in one.remarks],
    }  # fmt: skip


def _part(one: Part) -> dict[str, Any]:
    return {
        "of": one.of, "state": one.state.value, "due": _iso(one.due), "certificate": one.certificate,
        "anniversary_kept": one.anniversary_kept,
    }  # fmt: skip


def _duty(one: Duty) -> dict[str, Any]:
    return {
        "id": one.id, "title": one.title, "due": _iso(one.due), "party": one.party, "of": one.of,
        "state": one.state.value, "source": one.source, "basis": one.basis.value, "by": one.by,
    }  # fmt: skip
