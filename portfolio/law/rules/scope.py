"""Whom a requirement reaches, when the facts that decide it may not be recorded."""

from ..home import Home
from ..lawbook import Finding, Topic
from ..model import Basis, Reason, State

NOT_APPLICABLE = Finding(State.NOT_APPLICABLE)
THOUGHT_OUTSIDE = Finding(State.NOT_APPLICABLE, basis=Basis.MEMORY)
"""Outside by a provision we know of and have not read."""
LISTS = {
    "certificates": "which papers there are, if any",
    "defects": "which defects there are, if any",
    "rooms": "which rooms there are",
    "tenancies": "which tenancies there are or were, if any",
    "appliances": "which heating and cooking appliances there are, if any",
    "alarms": "which alarms there are, if any",
    "events": (
        "whether anything of this kind was done: copies given, requests received, notices served, "
        "deposits taken, work finished"
    ),
}
"""What is not known while a list is not on record, in words."""


def is_long_letting(home: Home, years: int) -> bool:
    """A long lease, or a term of at least so many years. No term recorded is no long term."""
    letting = home.unit.letting
    return letting.kind == "long_lease" or (letting.term_years is not None and letting.term_years >= years)


def letting_doubt(home: Home, law: Topic) -> tuple[Reason, ...]:
    """A kind of letting not on record might be one outside the requirement."""
    if home.unit.letting.kind is not None:
        return ()
    return (law.unrecorded("letting.kind", "the kind of letting"),)


def landlord_doubt(home: Home, law: Topic) -> tuple[Reason, ...]:
    """A landlord whose kind is not on record might be one outside the requirement."""
    if home.unit.landlord is not None:
        return ()
    return (law.unrecorded("landlord", "what kind of landlord lets the home"),)


def all_of(*tests: bool | None) -> bool | None:
    """One false settles it; else one that nobody recorded leaves it open."""
    return False if False in tests else None if None in tests else True


def any_of(*tests: bool | None) -> bool | None:
    """One true settles it; else one that nobody recorded leaves it open."""
    return True if True in tests else None if None in tests else False


def is_shared(home: Home) -> bool | None:
    """A house in multiple occupation: three people of two households who share; None where it turns on an unknown."""
    people = home.people
    return all_of(
        None if people.persons is None else people.persons >= 3,
        None if people.households is None else people.households >= 2,
        people.shares_amenities,
    )


def sharing_doubts(home: Home, law: Topic) -> tuple[Reason, ...]:
    """The facts for want of which `is_shared` cannot be told."""
    people = home.people
    facts = (
        (
            people.persons,
            "occupancy.persons",
            "how many people live or will live in the home; of a room let singly, in the whole house",
        ),
        (people.households, "occupancy.households", "how many households they make up"),
        (
            people.shares_amenities,
            "occupancy.shares_amenities",
            "whether they share a kitchen, bathroom or toilet",
        ),
    )
    return tuple(law.unrecorded(name, words) for value, name, words in facts if value is None)


def is_settled(finding: Finding) -> bool:
    """A requirement that is met or does not apply."""
    return finding.state in (State.MET, State.NOT_APPLICABLE)


def weighed(finding: Finding, doubts: tuple[Reason, ...]) -> Finding:
    """A finding made unknown by any doubt about whom the requirement reaches.

    Even where the papers would do for anybody: a requirement that needs a fact nobody recorded is unknown. What
    else is wrong stays in sight, so that everything can be put right at once.
    """
    if not doubts or finding.state is State.NOT_APPLICABLE:
        return finding
    return finding._replace(state=State.UNKNOWN, problems=doubts + finding.problems)


def undated(law: Topic, ref: str, day_field: str, paper: str) -> Reason:
    """A paper without the day that decides it might be the latest, so nothing can be said."""
    return law.unrecorded(day_field, f"the day {paper} was {day_field}", of=ref)


def no_list(law: Topic, name: str) -> Finding:
    """A list that nobody recorded, not even as empty."""
    return law.unknown(unlisted(law, name))


def unlisted(law: Topic, name: str) -> Reason:
    """The reason that a list leaves open."""
    return law.unrecorded(name, LISTS[name])
