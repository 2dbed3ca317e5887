"""Registration of private landlords: Wales, Scotland, Northern Ireland, and England once its database is in force."""

from ..dates import AsOn
from ..home import Home
from ..lawbook import Finding, Topic
from ..model import State
from .in_force import Leave, held
from .registry import rule
from .scope import NOT_APPLICABLE, landlord_doubt, letting_doubt, no_list, weighed

_NEEDS = {"landlords": list, "letting_kinds": list, "period_years": int, "pending_defence": bool}


@rule(_NEEDS)
def landlord(home: Home, law: Topic, on: AsOn) -> Finding:
    """A registration in force, to the anniversary that ends its term, which still counts, or to a printed day before.

    Housing (Wales) Act 2014 ss.4, 5 and 15; Antisocial Behaviour etc. (Scotland) Act 2004 ss.84 and 93; SR 2014/9.
    """
    whose, kind = home.unit.landlord, home.unit.letting.kind
    for value, fact in (("landlords", whose), ("letting_kinds", kind)):
        if fact is not None and fact not in law.words(value, on):
            return Finding(State.NOT_APPLICABLE, basis=law.entry(value, on).basis)
    if not home.has_papers:
        return no_list(law, "certificates")
    pending = "The landlord's registration is applied for and not decided, which will do until it is."
    leave = Leave(
        "landlord_registration", "landlord's registration", "not_registered",
        "No registration of the landlord is in force.", "Register the landlord and record the registration.",
        law.number("period_years", on), fixed=True,
        pending=pending if law.at("pending_defence", on) is True else "",
    )  # fmt: skip
    return weighed(held(home, law, on, leave), landlord_doubt(home, law) + letting_doubt(home, law))


@rule(_NEEDS | {"in_force": bool})
def database(home: Home, law: Topic, on: AsOn) -> Finding:
    """An entry in the database of private rented homes, which nobody need have before it is in force."""
    return landlord(home, law, on) if law.at("in_force", on) is True else NOT_APPLICABLE
