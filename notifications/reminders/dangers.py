"""What is dangerous in the homes of an agency and not made safe: recorded as a defect, or on record in another way."""

from collections import defaultdict
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from functools import cache
from typing import Any

from django.db.models import Q

from inspections.cautions import cautions
from inspections.models import Defect
from inspections.services.tell import address, is_danger, what_now
from portfolio import words
from portfolio.law import model as law
from portfolio.models import Appliance, StoredStanding, Unit
from portfolio.standing import dangers_without_defect

DEFECT, HOME = "danger", "danger-home"
"""What the causes begin with: a defect's id follows, or the id of a home with a danger that no defect speaks of, what
is dangerous in it and since when, so that another one is news."""
OPEN = Q(confirmed=None, made_safe=None)
DECIDES = ("scheme", "code", "found", "trade", "suspected")
"""What decides whether a defect is a danger, and when it was found."""
FALLBACK = ("Keep people away from it, and have a competent person make it safe today.",)
GAS = "gas_"
"""What the kinds of gas appliances begin with."""


@dataclass(frozen=True, slots=True)
class Danger:
    """One open danger. `since`: the day it was found, None where that is not recorded."""

    cause: str
    unit_id: int
    landlord_id: int | None
    since: date | None = None

    @property
    def about(self) -> int:
        """The id of the defect, or of the home."""
        return int(self.cause.split(":")[1])

    @property
    def is_defect(self) -> bool:
        return self.cause.startswith(f"{DEFECT}:")


@dataclass(frozen=True, slots=True)
class Told:
    """A danger in words: what to do now, what it is, where, what is known of it, and the page for it."""

    now: tuple[str, ...]
    what: str
    home: str
    state: str
    url: str


def open_dangers(agency_id: int) -> list[Danger]:
    """Every danger of an agency that is not made safe, the longest known first. Two queries."""
    defects = _dangerous(Defect.objects.filter(OPEN, unit__agency=agency_id)).select_related("unit")
    found = [
        Danger(f"{DEFECT}:{one.pk}", one.unit_id, one.unit.landlord_id, one.found)
        for one in defects.only(*DECIDES, "unit__landlord")
        if is_danger(one)
    ]
    homes = StoredStanding.objects.filter(danger=True, unit__agency=agency_id).order_by("unit")
    found += [
        Danger(cause, unit, landlord)
        for unit, landlord, answer in homes.values_list("unit", "unit__landlord", "answer")
        for cause in _in_home(unit, answer)
    ]
    return sorted(found, key=lambda one: (one.since or date.min, one.is_defect, one.about))


def still_open(causes: Iterable[str]) -> set[str]:
    """Those of these causes that are still dangers and not made safe. Two queries at most."""
    causes = set(causes)
    asked = [Danger(cause, 0, None) for cause in causes]
    defects = _dangerous(Defect.objects.filter(OPEN, pk__in=[one.about for one in asked if one.is_defect]))
    homes = StoredStanding.objects.filter(
        danger=True, unit__in=[one.about for one in asked if not one.is_defect]
    )
    true = {f"{DEFECT}:{one.pk}" for one in defects if is_danger(one)}
    true |= {
        cause for unit, answer in homes.values_list("unit", "answer") for cause in _in_home(unit, answer)
    }
    return true & causes


def in_words(dangers: Collection[Danger]) -> dict[str, Told]:
    """These dangers as people read them, by cause. Three queries at most."""
    defects = Defect.objects.select_related("unit__building", "room", "completed_for")
    found = {
        f"{DEFECT}:{one.pk}": _defect(one)
        for one in defects.filter(pk__in=[one.about for one in dangers if one.is_defect])
    }
    homes = [one.about for one in dangers if not one.is_defect]
    standings = list(StoredStanding.objects.filter(unit__in=homes).select_related("unit__building"))
    kinds = _kinds(homes)
    return found | {
        cause: _home(one.unit, bars, kinds)
        for one in standings
        for cause, bars in _in_home(one.unit_id, one.answer).items()
    }


def together(told: Sequence[Told]) -> list[tuple[tuple[str, ...], list[Told]]]:
    """Those for which the same is to be done now stand together: nobody reads the same advice twenty times."""
    groups: dict[tuple[str, ...], list[Told]] = {}
    for one in told:
        groups.setdefault(one.now, []).append(one)
    return list(groups.items())


@cache
def _possible() -> Q:
    """The condition on Defect that its class can be a danger; `is_danger` then says whether it is."""
    found = Q()
    for scheme, codes in law.CODES.items():
        alike = [Defect(scheme=scheme, code=code, suspected=guess, trade=trade)
                 for code in codes for guess in (False, True) for trade in (None, "gas")]  # fmt: skip
        found |= Q(scheme=scheme, code__in={one.code for one in alike if is_danger(one)})
    return found


def _dangerous(defects: Any) -> Any:
    return defects.filter(_possible())


def _defect(one: Defect) -> Told:
    room = words.room(one.room.use, one.room.level, one.room.ref) if one.room else ""
    where = ", ".join(part for part in (room, one.place) if part)
    state = f"Found {one.found:%-d %B %Y}" if one.found else "Day it was found not recorded"
    if one.completed:
        by = f" by {one.completed_for}" if one.completed_for else ""
        state += f"; said to be put right{by}, not confirmed yet"
    title = one.title or str(one.get_code_display())
    return Told(
        now=what_now(one) or FALLBACK,
        what=f"{title} ({where})" if where else title,
        home=_place(one.unit),
        state=f"{state}.",
        url=address("defect", one.pk),
    )


def _in_home(unit_id: int, answer: dict[str, Any]) -> dict[str, list[dict[str, Any]]]:
    """What a stored answer says of each danger that no defect speaks of, by cause."""
    found: dict[str, list[dict[str, Any]]] = defaultdict(list)
    for bar in dangers_without_defect(answer):
        found[f"{HOME}:{unit_id}:{bar['of'] or ''}:{bar['since'] or ''}"].append(bar)
    return found


def _home(unit: Unit, bars: Sequence[dict[str, Any]], kinds: Mapping[tuple[int, str], str]) -> Told:
    """One danger that the stored answer names, with its cure."""
    of = [kinds.get((unit.pk, bar["of"] or ""), "") for bar in bars]
    gas = any(kind.startswith(GAS) for kind in of)
    named = list(dict.fromkeys(words.APPLIANCE[kind] for kind in of if kind))
    return Told(
        now=cautions(scheme="igem_g11", code="ID", nation=unit.building.nation) if gas else FALLBACK,
        what=", ".join(named) or "Something in the home",
        home=_place(unit),
        state=" ".join(dict.fromkeys(bar[part] for part in ("says", "cure") for bar in bars)),
        url=address("home", unit.pk),
    )


def _place(unit: Unit) -> str:
    return f"{unit}, {unit.building.postcode}" if unit.building.postcode else str(unit)


def _kinds(homes: Collection[int]) -> dict[tuple[int, str], str]:
    """Kind of each appliance of these homes, by home and ref."""
    if not homes:
        return {}
    rows = Appliance.objects.filter(unit__in=homes, removed=None).values_list("unit", "ref", "kind")
    return {(unit, ref): kind or "" for unit, ref, kind in rows}
