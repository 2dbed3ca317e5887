"""Licences for shared homes in every nation, and for all private lets in designated areas (England and Wales)."""

from typing import NamedTuple

from ..dates import AsOn
from ..home import Home
from ..lawbook import Finding, Topic
from ..model import Reason, State
from .in_force import Leave, held
from .registry import rule
from .scope import NOT_APPLICABLE, no_list, weighed

_WORDS = {
    "occupancy.persons": "how many people live or will live in the home; of a room let singly, in the whole house",
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
    if home.unit.landlord in law.words("outside_landlords", on):
        return NONE_NEEDED
    tests = []
    if _at_least(home.people.households, law.number("min_households", on)) is not False:
        tests = [decided(_mandatory(home, law, on)), decided(_additional(home, law, on))]
    if any(yes for yes, _ in tests):
        return Need(True, (), False, ())
    selective, doubts = decided(_selective(home))
    shared = (*_uncounted(home), *(name for _, names in tests for name in names))
    return Need(False, tuple(dict.fromkeys(shared)), selective, doubts)


def _uncounted(home: Home) -> tuple[str, ...]:
    """Who lives there is what the law asks first: without both numbers nobody has asked."""
    people = home.people
    counts = {"occupancy.persons": people.persons, "occupancy.households": people.households}
    return tuple(name for name, count in counts.items() if count is None)


def _at_least(number: int | None, least: int) -> bool | None:
    return None if number is None else number >= least


def _mandatory(home: Home, law: Topic, on: AsOn) -> Tests:
    """Housing Act 2004 s.55(2)(a): SI 2018/221 art 4 (SI 2006/371 before it); in Wales WSI 2006/1712 art 3."""
    people, storeys = home.people, law.number("min_storeys", on)
    tests: Tests = {
        "occupancy.persons": _at_least(people.persons, law.number("min_persons", on)),
        "occupancy.households": _at_least(people.households, law.number("min_households", on)),
    }
    if storeys > 1:
        tests["storeys"] = _at_least(home.building.storeys, storeys)
    return tests | _flat_test(home, law, on)


def _flat_test(home: Home, law: Topic, on: AsOn) -> Tests:
    """A flat built as one in a block of three or more flats is outside; a house or a room is not tested.

    Nor is any home where the pack holds no such size of block (0), as in Wales.
    """
    building, block = home.building, law.number("block_flats", on)
    if not block or home.unit.dwelling in ("house", "room") or building.purpose_built is False:
        return {}
    flats = _at_least(building.self_contained_units, block)
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
    people = home.people
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


@rule(dict.fromkeys(_NEEDS, int) | {"outside_landlords": list, "pending_defence": bool})
def licence(home: Home, law: Topic, on: AsOn) -> Finding:
    """A licence in force where one is needed, or an application undecided; Housing Act 2004 ss.61, 72, 85, 95."""
    if home.unit.landlord in law.words("outside_landlords", on):
        return _outside(law, on)
    need = needed(home, law, on)
    if need == NONE_NEEDED:
        return NOT_APPLICABLE
    if not home.has_papers:
        return no_list(law, "certificates")
    found = held(home, law, on, _leave(law, on, "hmo_licence"))
    in_force = found.state is State.MET and not found.warnings
    if not need.shared and not need.shared_doubts and not in_force:
        # A licence for a shared home takes the place of the other; an application for one does not.
        found = held(home, law, on, _leave(law, on, "selective_licence"))
    return _judged(home, law, need, found)


_SHARED_NEEDS = ("min_persons", "min_households", "resident_min_households", "max_years")


@rule(dict.fromkeys(_SHARED_NEEDS, int) | {"outside_landlords": list})
def shared_home(home: Home, law: Topic, on: AsOn) -> Finding:
    """A licence for three people of three families or households; one asked for again in time goes on.

    Housing (Scotland) Act 2006 ss.124-126 and 135; Houses in Multiple Occupation Act (NI) 2016 ss.1, 7, 20 and 21.
    """
    if home.unit.landlord in law.words("outside_landlords", on):
        return _outside(law, on)
    yes, doubts = needs_shared_licence(home, law, on)
    if not yes and not doubts:
        return NOT_APPLICABLE
    if not home.has_papers:
        return no_list(law, "certificates")
    return _judged(
        home, law, Need(yes, doubts, False, ()), held(home, law, on, _leave(law, on, "hmo_licence"))
    )


def needs_shared_licence(home: Home, law: Topic, on: AsOn) -> tuple[bool, tuple[str, ...]]:
    """Does the law of `shared_home` reach the home for certain, and which facts are wanting to say so?"""
    if home.unit.landlord in law.words("outside_landlords", on):
        return False, ()
    yes, doubts = decided(_sharing(home, law, on))
    return yes, tuple(dict.fromkeys((*_uncounted(home), *doubts)))


def _sharing(home: Home, law: Topic, on: AsOn) -> Tests:
    """A house or a flat counts as it stands; a room, or what may be one, where kitchen, bath or toilet is shared.

    Where the landlord lives there more households may (Scotland: the owner's own and two others).
    """
    people, unit = home.people, home.unit
    name = "resident_min_households" if unit.landlord == "resident" else "min_households"
    tests: Tests = {
        "occupancy.persons": _at_least(people.persons, law.number("min_persons", on)),
        "occupancy.households": _at_least(people.households, law.number(name, on)),
    }
    if unit.dwelling == "room":
        tests["occupancy.shares_amenities"] = people.shares_amenities
    elif unit.dwelling is None and not people.shares_amenities:
        tests["dwelling"] = None
    return tests


def _outside(law: Topic, on: AsOn) -> Finding:
    return Finding(State.NOT_APPLICABLE, basis=law.entry("outside_landlords", on).basis)


def _leave(law: Topic, on: AsOn, kind: str) -> Leave:
    words = _KIND_WORDS[kind]
    pending = f"The {words} is applied for and not decided; until then there is a defence, not a licence."
    defence = "pending_defence" in law.values and law.at("pending_defence", on) is True
    return Leave(
        kind, words, "not_licensed", f"The home needs a {words} and none is in force or applied for.",
        "Apply to the council for the licence.", law.number("max_years", on),
        pending=pending if defence else "", continues=not defence,
    )  # fmt: skip


def _judged(home: Home, law: Topic, need: Need, found: Finding) -> Finding:
    """What the papers show, made unknown by facts without which nobody can say whether a licence is needed."""
    if need.shared and home.unit.landlord is None:
        return weighed(found, explained(law, ("landlord",)))
    if found.state is State.MET:
        return weighed(found, explained(law, need.first_doubts))
    return law.unknown(*explained(law, need.doubts)) if need.doubts else found


def explained(law: Topic, doubts: tuple[str, ...]) -> tuple[Reason, ...]:
    """Reasons under another topic for facts that decide whether a licence is needed."""
    return tuple(law.unrecorded(name, _WORDS[name]) for name in doubts)
