"""Licences for shared and selectively licensed homes in England (Housing Act 2004 Parts 2-3, SI 2018/221)."""

from datetime import date
from typing import NamedTuple

from ..dates import AsOn, add_years, day_after
from ..home import Home
from ..lawbook import Finding, Topic
from ..model import Certificate, Reason, State
from .registry import rule
from .scope import NOT_APPLICABLE, THOUGHT_OUTSIDE, no_list, undated, weighed

_WORDS = {
    "occupancy.persons": "how many people live or will live in the home",
    "occupancy.households": "how many households they make up",
    "occupancy.shares_amenities": "whether they share a kitchen, bathroom or toilet",
    "storeys": "how many storeys the building has",
    "dwelling": "whether this is a house, a flat or a room",
    "purpose_built": "whether the building was built as flats",
    "self_contained_units": "how many self-contained flats the building has",
    "hmo.additional_licensing_area": "whether the council licenses smaller shared homes here",
    "hmo.selective_licensing_area": "whether the council licenses all private lets here",
    "landlord": "what kind of landlord lets the home",
}
_KIND_WORDS = {"hmo_licence": "licence for a shared home", "selective_licence": "selective licence"}

Tests = dict[str, bool | None]


class Need(NamedTuple):
    """Is each licence needed for certain, and if not, the facts without which nobody can say."""

    shared: bool
    shared_doubts: tuple[str, ...]
    selective: bool
    selective_doubts: tuple[str, ...]

    @property
    def doubts(self) -> tuple[str, ...]:
        return tuple(dict.fromkeys((*self.shared_doubts, *self.selective_doubts)))

    @property
    def first_doubts(self) -> tuple[str, ...]:
        """Doubts that stay even where what is held would do for anybody: who lives in what, let by whom."""
        return tuple(name for name in self.doubts if name in _ASKED_FIRST)


_ASKED_FIRST = ("occupancy.persons", "occupancy.households", "dwelling", "landlord")
NONE_NEEDED = Need(False, (), False, ())


def decided(tests: Tests) -> tuple[bool, tuple[str, ...]]:
    """All true? One false settles it; otherwise the tests without an answer are what we do not know."""
    if False in tests.values():
        return False, ()
    unknown = tuple(name for name, answer in tests.items() if answer is None)
    return not unknown, unknown


def needed(home: Home, law: Topic, on: AsOn) -> Need:
    """What the law asks for, held or not. A licence for a shared home takes the place of the other."""
    if home.unit.landlord == "registered_provider":
        return NONE_NEEDED
    tests = [decided(_mandatory(home, law, on)), decided(_additional(home, law, on))]
    if any(yes for yes, _ in tests):
        return Need(True, (), False, ())
    selective, doubts = decided(_selective(home))
    shared = (*_uncounted(home), *(name for _, names in tests for name in names))
    return Need(False, tuple(dict.fromkeys(shared)), selective, doubts)


def _uncounted(home: Home) -> tuple[str, ...]:
    """Who lives there is what the law asks first: without both numbers nobody has asked."""
    people = home.unit.occupancy
    counts = {"occupancy.persons": people.persons, "occupancy.households": people.households}
    return tuple(name for name, count in counts.items() if count is None)


def _at_least(number: int | None, least: int) -> bool | None:
    return None if number is None else number >= least


def _mandatory(home: Home, law: Topic, on: AsOn) -> Tests:
    """Housing Act 2004 s.55(2)(a) with the description in SI 2018/221 art 4 (SI 2006/371 before it)."""
    people, storeys = home.unit.occupancy, law.number("min_storeys", on)
    tests: Tests = {
        "occupancy.persons": _at_least(people.persons, law.number("min_persons", on)),
        "occupancy.households": _at_least(people.households, law.number("min_households", on)),
    }
    if storeys > 1:
        tests["storeys"] = _at_least(home.building.storeys, storeys)
    return tests | _flat_test(home, law, on)


def _flat_test(home: Home, law: Topic, on: AsOn) -> Tests:
    """A flat built as one in a block of three or more flats is outside; a house or a room is not tested."""
    building = home.building
    if home.unit.dwelling in ("house", "room") or building.purpose_built is False:
        return {}
    flats = _at_least(building.self_contained_units, law.number("block_flats", on))
    if flats is False:
        return {}
    tests: Tests = {}
    if building.purpose_built is None:
        tests["purpose_built"] = None
    if flats is None:
        tests["self_contained_units"] = None
    if home.unit.dwelling is None:
        tests["dwelling"] = None
    return tests or {"purpose_built": False}


def _additional(home: Home, law: Topic, on: AsOn) -> Tests:
    """Housing Act 2004 s.56: in an area the council has designated, every house in multiple occupation."""
    people = home.unit.occupancy
    return {
        "hmo.additional_licensing_area": home.unit.hmo.additional_licensing_area,
        "occupancy.persons": _at_least(people.persons, law.number("additional_min_persons", on)),
        "occupancy.households": _at_least(people.households, law.number("min_households", on)),
        "occupancy.shares_amenities": people.shares_amenities,
    }


def _selective(home: Home) -> Tests:
    """Housing Act 2004 s.80: in a designated area, a private let not shared with the landlord."""
    landlord = home.unit.landlord
    return {
        "hmo.selective_licensing_area": home.unit.hmo.selective_licensing_area,
        "landlord": None if landlord is None else landlord == "private",
    }


_NEEDS = (
    "min_persons",
    "min_households",
    "min_storeys",
    "block_flats",
    "additional_min_persons",
    "max_years",
)


@rule(dict.fromkeys(_NEEDS, int) | {"pending_defence": bool})
def licence(home: Home, law: Topic, on: AsOn) -> Finding:
    """A licence in force where one is needed, or an application made and undecided; ss.61, 72, 85, 95."""
    if home.unit.landlord == "registered_provider":
        return THOUGHT_OUTSIDE
    need = needed(home, law, on)
    if need == NONE_NEEDED:
        return NOT_APPLICABLE
    if not home.has_papers:
        return no_list(law, "certificates")
    found = _held(home, law, on, "hmo_licence")
    if not need.shared and not need.shared_doubts and found.state is not State.MET:
        found = _held(home, law, on, "selective_licence")
    if need.shared and home.unit.landlord is None:
        return weighed(found, explained(law, ("landlord",)))
    if found.state is State.MET:
        return weighed(found, explained(law, need.first_doubts))
    return law.unknown(*explained(law, need.doubts)) if need.doubts else found


def _held(home: Home, law: Topic, on: AsOn, kind: str) -> Finding:
    """In force to its printed day; one whose last day nobody recorded may be over any day, up to the longest."""
    papers = home.papers(kind, "issued", on)
    years, words = law.number("max_years", on), _KIND_WORDS[kind]
    lasts = sorted((_last_good_day(p, day, years), p.ref, p.until is None) for day, p in papers.counted)
    in_force = [(last, ref) for last, ref, endless in lasts if not endless and not on.passed(last)]
    if in_force:
        return Finding(State.MET, *in_force[-1])
    pending = _pending(home, on, kind)
    if pending is not None:
        says = f"The {words} is applied for and not decided; until then there is a defence, not a licence."
        cure = "Press the council for its decision and record the licence."
        warning = law.reason("pending", says, cure, pending.ref, value="pending_defence")
        return Finding(State.MET, None, pending.ref, warnings=(warning,), basis=warning.basis)
    unplaced = [p for p in papers.undated if p.applied is None and not (p.until and on.passed(p.until))]
    unsure = [undated(law, p.ref, "issued", f"the {words}") for p in unplaced]
    unsure += [
        law.unrecorded("until", f"the last day printed on the {words}", of=ref)
        for last, ref, endless in lasts if endless and not on.passed(last)
    ]  # fmt: skip
    if unsure:
        return law.unknown(*unsure)
    last, ref = lasts[-1][:2] if lasts else (None, None)
    since = day_after(last) if last else None
    says = f"The home needs a {words} and none is in force or applied for."
    bar = law.reason("not_licensed", says, "Apply to the council for the licence.", ref, since)
    return Finding(State.NOT_MET, last, ref, (bar,))


def _last_good_day(paper: Certificate, issued: date, years: int) -> date:
    longest = add_years(issued, years)
    return longest if paper.until is None else min(longest, paper.until)


def _pending(home: Home, on: AsOn, kind: str) -> Certificate | None:
    """The newest application made by the day, unless a licence issued since shows that it was decided."""
    made = home.papers(kind, "applied", on).counted
    if not made:
        return None
    applied, paper = made[-1]
    issued = home.papers(kind, "issued", on).counted
    return None if issued and issued[-1][0] >= applied else paper


def explained(law: Topic, doubts: tuple[str, ...]) -> tuple[Reason, ...]:
    """Reasons under another topic for facts that decide whether a licence is needed."""
    return tuple(law.unrecorded(name, _WORDS[name]) for name in doubts)
