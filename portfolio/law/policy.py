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
REPAIR_DAYS: Mapping[str, int] = {"urgent": 14, "soon": 90, "plan": 365}
"""Days in which an open defect is seen to, by how pressing it is: common practice, no law. A policy may shorten."""


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
    """So many days in hand: a let is barred when the gas check's last good day is fewer days than this after the day
    on which the let begins. With 30, a check good until the 31st lets on the 1st and not on the 2nd."""
    electrical_margin_days: int | None = None
    energy_margin_days: int | None = None
    warnings_that_bar: tuple[str, ...] = ()
    """Requirements whose warnings stop a let, by id."""
    repair_days: Mapping[str, int] = field(default_factory=dict)
    """Fewer days for defects than `REPAIR_DAYS`, by the same words. The law's answers do not turn on it."""

    @classmethod
    def of(cls, data: Mapping[str, Any], book: Lawbook) -> Self:
        """A policy from typed values. Raises `ValueError` naming the field and the cure.

        Codes come out in the order of their scheme and requirements by id, without those that bar for everybody,
        so that two policies that ask the same have the same mark.
        """
        known = {one.name for one in fields(cls)}
        for name in sorted(data.keys() - known):
            raise ValueError(f"{name}: unknown. Use one of: {', '.join(sorted(known))}.")
        band = data.get("worst_band") or None
        if band is not None:
            _among("worst_band", [band], RATINGS)
        raised = sorted(set(_texts("warnings_that_bar", data.get("warnings_that_bar"))))
        _among("warnings_that_bar", raised, warnings_of(book))
        return cls(
            also_dangers=_codes(data.get("also_dangers"), book),
            worst_band=band,
            alarm_test_months=_number(data, "alarm_test_months", MOST_TEST_MONTHS),
            **{name: _number(data, name, MOST_MARGIN_DAYS) for name in MARGINS},
            warnings_that_bar=tuple(raised),
            repair_days=_days(data.get("repair_days")),
        )

    @classmethod
    def kept(cls, data: Mapping[str, Any], book: Lawbook) -> Self:
        """A policy from stored values, which an older book may have taken.

        What was a warning then and bars by law, or is not asked, now needs no raising and is left out.
        """
        warnings = warnings_of(book)
        raised = [one for one in data.get("warnings_that_bar") or () if one in warnings]
        return cls.of({**data, "warnings_that_bar": raised}, book)

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


def days_of(policy: Policy) -> dict[int, int]:
    """The policy's days for defects by band, as `inspections.urgency` takes them: 1 urgent, 2 soon, 3 plan."""
    return {band: policy.repair_days[name] for band, name in enumerate(REPAIR_DAYS, start=1)
            if name in policy.repair_days}  # fmt: skip


def warnings_of(book: Lawbook) -> list[str]:
    """Ids of the requirements that warn of a let and could be made to stop it."""
    return [topic.id for topic in book.topics.values() if topic.let == "warn"]


def always_dangers(book: Lawbook, scheme: str) -> tuple[str, ...]:
    """Codes of a scheme that bar in every home whatever the agency's policy says, on any day the book speaks of."""
    entries = book.topics["house_danger"].values[scheme]
    found = {code for one in entries if isinstance(one.value, tuple) for code in one.value}
    return tuple(code for code in CODES[scheme] if code in found)


def _codes(said: Any, book: Lawbook) -> dict[str, tuple[str, ...]]:
    if said is not None and not isinstance(said, Mapping):
        raise ValueError(
            f"also_dangers: {said!r} is not a table of codes by scheme, such as {{'bs7671': ['C3']}}."
        )
    found: dict[str, tuple[str, ...]] = {}
    for scheme, listed in sorted((said or {}).items()):
        where = f"also_dangers.{scheme}"
        _among(where, [scheme], CODES)
        codes = _texts(where, listed)
        _among(where, codes, CODES[scheme])
        always = always_dangers(book, scheme)
        if more := tuple(code for code in CODES[scheme] if code in codes and code not in always):
            found[scheme] = more
    return found


def _days(said: Any) -> dict[str, int]:
    if said is not None and not isinstance(said, Mapping):
        raise ValueError(f"repair_days: {said!r} is not a table of days, such as {{'urgent': 7}}.")
    named = {f"repair_days.{name}": value for name, value in (said or {}).items()}
    _among("repair_days", said or (), REPAIR_DAYS)
    asked = {name: _number(named, f"repair_days.{name}", most) for name, most in REPAIR_DAYS.items()}
    return {name: days for name, days in asked.items() if days is not None}


def _texts(where: str, said: Any) -> list[str]:
    if isinstance(said, str) or not isinstance(said or (), Iterable):
        raise ValueError(f"{where}: {said!r} is not a list. Write it in brackets, with commas between.")
    return [str(one) for one in said or ()]


def _plain(value: Any) -> Any:
    if isinstance(value, Mapping):
        return {key: list(one) if isinstance(one, tuple) else one for key, one in value.items()}
    return list(value) if isinstance(value, tuple) else value


def _among(where: str, found: Iterable[Any], allowed: Iterable[str]) -> None:
    known = list(allowed)
    for one in found:
        if one not in known:
            raise ValueError(f"{where}: {one!r} is not known. Use one of: {', '.join(known) or 'none'}.")


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
    sets = {name: values for name, values in _sets(book, policy).items() if values}
    changed = {name: _tightened(book.topics[name], values) for name, values in sets.items()}
    for name in policy.warnings_that_bar:
        changed[name] = replace(changed.get(name, book.topics[name]), raised=True)
    return rebuilt(book, changed, (POLICY, policy.mark))


def _sets(book: Lawbook, policy: Policy) -> dict[str, dict[str, Value]]:
    """What the policy writes into the house's topics; what it does not ask stays as the pack has it."""
    dangers: dict[str, Value] = {
        scheme: tuple(code for code in CODES[scheme] if code in more or code in always_dangers(book, scheme))
        for scheme, more in policy.also_dangers.items()
    }
    margins = {name: getattr(policy, name) for name in MARGINS}
    return {
        "house_danger": dangers,
        "house_band": {"worst_band": policy.worst_band} if policy.worst_band else {},
        "house_alarm_test": {"months": policy.alarm_test_months} if policy.alarm_test_months else {},
        "house_margin": {name: days for name, days in margins.items() if days},
    }


def _tightened(topic: Topic, sets: Mapping[str, Value]) -> Topic:
    source, basis = "House policy of the agency", Basis.HOUSE_POLICY
    new = {name: (Dated(topic.begins, None, value, source, basis),) for name, value in sets.items()}
    return replace(topic, values={**topic.values, **new})
