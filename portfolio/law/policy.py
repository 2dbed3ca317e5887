"""House policy: what an agency asks beyond the law. It can only add; nothing here can loosen a requirement."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, fields, replace
from hashlib import sha256
from typing import Any, Self

from .lawbook import Dated, Lawbook, Topic, Value
from .model import CODES, RATINGS, Basis
from .variants import rebuilt

POLICY = "house policy"
"""Under which name the mark of a policy stands among the pack versions of an answer."""
MARGINS = ("gas_margin_days", "electrical_margin_days", "energy_margin_days")
MOST_MARGIN_DAYS = 366
MOST_TEST_MONTHS = 60


@dataclass(frozen=True, slots=True)
class Policy:
    """An agency's own rules. As it comes it adds nothing to the house rules that everybody has."""

    also_dangers: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    """More defect codes that bar letting and sale while open, by scheme."""
    worst_band: str | None = None
    """The worst energy band that may be let."""
    alarm_test_months: int | None = None
    """Every alarm tested at least this often, in months."""
    gas_margin_days: int | None = None
    """A let is barred this many days before the gas check runs out."""
    electrical_margin_days: int | None = None
    energy_margin_days: int | None = None
    warnings_that_bar: tuple[str, ...] = ()
    """Requirements whose warnings stop a let, by id."""

    @classmethod
    def of(cls, data: Mapping[str, Any], book: Lawbook) -> Self:
        """A policy from stored or typed values. Raises `ValueError` naming the field and the cure."""
        known = {one.name for one in fields(cls)}
        for name in data.keys() - known:
            raise ValueError(f"{name}: unknown. Use one of: {', '.join(sorted(known))}.")
        codes = {scheme: tuple(found) for scheme, found in (data.get("also_dangers") or {}).items() if found}
        for scheme, found in codes.items():
            _among(f"also_dangers.{scheme}", [scheme], CODES)
            _among(f"also_dangers.{scheme}", found, CODES[scheme])
        band = data.get("worst_band") or None
        if band is not None:
            _among("worst_band", [band], RATINGS)
        may_be_raised = [topic.id for topic in book.topics.values() if topic.let == "warn"]
        raised = tuple(sorted(set(data.get("warnings_that_bar") or ())))
        _among("warnings_that_bar", raised, may_be_raised)
        return cls(
            also_dangers={scheme: codes[scheme] for scheme in sorted(codes)},
            worst_band=band,
            alarm_test_months=_number(data, "alarm_test_months", MOST_TEST_MONTHS),
            **{name: _number(data, name, MOST_MARGIN_DAYS) for name in MARGINS},
            warnings_that_bar=raised,
        )

    def as_dict(self) -> dict[str, Any]:
        """The values as JSON would keep them, those that add nothing left out."""
        found = {one.name: getattr(self, one.name) for one in fields(self)}
        return {
            name: _plain(value)
            for name, value in found.items()
            if value is not None and value not in ({}, ())
        }

    @property
    def mark(self) -> str:
        """Stands for this very policy; empty when it adds nothing."""
        held = self.as_dict()
        return sha256(repr(sorted(held.items())).encode()).hexdigest()[:12] if held else ""


def _plain(value: Any) -> Any:
    if isinstance(value, Mapping):
        return {key: list(one) for key, one in value.items()}
    return list(value) if isinstance(value, tuple) else value


def _among(where: str, found: Iterable[str], allowed: Iterable[str]) -> None:
    known = list(allowed)
    for one in found:
        if one not in known:
            raise ValueError(f"{where}: {one!r} is not known. Use one of: {', '.join(known)}.")


def _number(data: Mapping[str, Any], name: str, most: int) -> int | None:
    value = data.get(name)
    if value in (None, ""):
        return None
    if type(value) is not int or not 1 <= value <= most:
        raise ValueError(f"{name}: {value!r} is not a whole number from 1 to {most}. Leave it out for none.")
    return value


def with_policy(book: Lawbook, policy: Policy) -> Lawbook:
    """The book as this agency asks it: the law untouched, the house's own requirements made stricter."""
    if not policy.mark:
        return book
    changed = {name: _tightened(book.topics[name], sets) for name, sets in _sets(book, policy).items()}
    for name in policy.warnings_that_bar:
        changed[name] = replace(changed.get(name, book.topics[name]), raised=True)
    return rebuilt(book, changed, (POLICY, policy.mark))


def _sets(book: Lawbook, policy: Policy) -> dict[str, dict[str, Value]]:
    """What the policy writes into the house's topics."""
    dangers = book.topics["house_danger"].values
    return {
        "house_danger": {
            scheme: tuple(c for c in CODES[scheme] if c in more or c in _words(dangers[scheme]))
            for scheme, more in policy.also_dangers.items()
        },
        "house_band": {"worst_band": policy.worst_band or "none"},
        "house_alarm_test": {"months": policy.alarm_test_months or 0},
        "house_margin": {name: getattr(policy, name) or 0 for name in MARGINS},
    }


def _words(entries: tuple[Dated, ...]) -> tuple[str, ...]:
    value = entries[-1].value
    return value if isinstance(value, tuple) else ()


def _tightened(topic: Topic, sets: Mapping[str, Value]) -> Topic:
    source, basis = "House policy of the agency", Basis.HOUSE_POLICY
    new = {name: (Dated(topic.begins, None, value, source, basis),) for name, value in sets.items()}
    return replace(topic, values={**topic.values, **new})
