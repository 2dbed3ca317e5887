"""Other readings of the same book: with announced law taken as in force, or with values of the house made stricter."""

from collections.abc import Mapping
from dataclasses import replace
from datetime import date, timedelta
from typing import Any

from .lawbook import Announced, Dated, Lawbook, Topic, Value
from .model import PURPOSES, Answer, Basis, Reason, Standing


class NotAssumable(LookupError):
    """Announced law that cannot be taken as in force: what is wrong, and how to put it right."""

    def __init__(self, wrong: str, cure: str) -> None:
        self.wrong, self.cure = wrong, cure
        super().__init__(f"{wrong}. {cure}")


def announced(book: Lawbook) -> dict[str, tuple[Topic, Announced]]:
    """Everything announced and not in force, by its id."""
    return {entry.id: (topic, entry) for topic in book.topics.values() for entry in topic.announced}


def assuming(book: Lawbook, wishes: Mapping[str, date | None]) -> Lawbook:
    """The book as if announced law were in force: each id from the day given, or else from the day announced.

    Raises `NotAssumable` saying which id is not known, cannot be reckoned with, or has no day.
    """
    known, marks = announced(book), []
    changed: dict[str, Topic] = {}
    for name, wish in sorted(wishes.items()):
        topic, entry = _wanted(known, name)
        start = wish or entry.start
        if start is None:
            raise NotAssumable(
                f"No day is announced for {name!r}", f"Say from which day, as {name}=2027-01-01."
            )
        before = changed.get(topic.id, topic)
        new = {key: _from(before, key, value, start, entry) for key, value in entry.sets.items()}
        changed[topic.id] = replace(before, values={**before.values, **new})
        marks.append(f"{name} from {start}")
    return rebuilt(book, changed, ("assumed", ", ".join(marks))) if marks else book


def _wanted(known: Mapping[str, tuple[Topic, Announced]], name: str) -> tuple[Topic, Announced]:
    usable = ", ".join(sorted(one for one, (_, entry) in known.items() if entry.sets))
    if name not in known:
        raise NotAssumable(f"Nothing announced has the id {name!r}", f"Use one of: {usable}.")
    if not known[name][1].sets:
        raise NotAssumable(f"Too little is known of {name!r} to reckon with it", f"Use one of: {usable}.")
    return known[name]


def _from(topic: Topic, name: str, value: Value, start: date, entry: Announced) -> tuple[Dated, ...]:
    """A value's entries with this one from `start` on, whatever was held for later."""
    start = max(start, topic.begins)
    kept = [
        replace(one, end=start - timedelta(days=1)) if one.end is None or one.end >= start else one
        for one in topic.values[name] if one.start < start
    ]  # fmt: skip
    new = Dated(start, None, value, f"Announced, not in force: {entry.source}", Basis.MEMORY)
    return (*kept, new)


def gained(plain: Standing, assumed: Standing) -> dict[str, tuple[Reason, ...]]:
    """What bars a home only under an assumption, by purpose; both standings are of one home and day."""
    found = {purpose: _gained(getattr(plain, purpose), getattr(assumed, purpose)) for purpose in PURPOSES}
    return {purpose: reasons for purpose, reasons in found.items() if reasons}


def _gained(plain: Answer, assumed: Answer) -> tuple[Reason, ...]:
    """A bar that stands anyway and is only worded otherwise is none that is gained."""
    anyway = {(one.requirement, one.kind, one.of) for one in plain.bars}
    return tuple(one for one in assumed.bars if (one.requirement, one.kind, one.of) not in anyway)


def rebuilt(book: Lawbook, changed: Mapping[str, Topic], mark: tuple[str, str]) -> Lawbook:
    """The book with some topics exchanged; `mark` joins the pack versions, so that an answer shows it."""
    shelf: dict[str, Topic] = {}
    shelf |= {name: replace(changed.get(name, topic), shelf=shelf) for name, topic in book.topics.items()}
    fresh: dict[str, Any] = {
        "packs": tuple(
            replace(pack, topics=tuple(shelf[topic.id] for topic in pack.topics)) for pack in book.packs
        ),
        "voices": {
            nation: tuple(voice._replace(topic=shelf[voice.topic.id]) for voice in voices)
            for nation, voices in book.voices.items()
        },
        "versions": {nation: (*versions, mark) for nation, versions in book.versions.items()},
    }
    return replace(book, topics=shelf, **fresh)
