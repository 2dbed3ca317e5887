"""The house's own rule: nothing dangerous may stay open in a home that is marked lettable or saleable."""

from ..dates import AsOn
from ..home import Home, is_open
from ..lawbook import Finding, Topic
from ..model import SCHEMES, Defect, Reason, State
from .gas import found_dangerous
from .registry import rule
from .scope import no_list

STANDARDS = {"bs7671": "electrical", "igem_g11": "gas", "hhsrs": "housing hazard"}
"""Schemes whose codes are shown as their published standard has them."""
OWN_WORDS = {"fire": "A fire defect", "damp_mould": "Damp or mould", "other": "A defect"}
"""How a defect of the other schemes is spoken of; their classes are plain words."""


CURE = "Put it right and have a second competent person confirm it."


@rule(dict.fromkeys(SCHEMES, list))
def open_dangers(home: Home, law: Topic, on: AsOn) -> Finding:
    """An open defect whose code the pack lists bars both, and so does such a code on a gas record. No statute."""
    if home.defects is None:
        return no_list(law, "defects")
    listed = (d for d in home.defects if d.code in law.words(d.scheme, on))
    problems = tuple(open_danger(law, d) for d in listed if is_open(d, on))
    problems += _on_gas_records(home, law, on)
    return Finding(State.NOT_MET if problems else State.MET, problems=problems)


def _on_gas_records(home: Home, law: Topic, on: AsOn) -> tuple[Reason, ...]:
    """What an engineer found dangerous and nobody recorded as a defect, the tenant's own appliances too."""
    says = "An appliance was found dangerous at its last gas check and is not confirmed as put right."
    cure = "Record what was found as a defect and have it put right and confirmed, or have it checked again."
    dangerous = found_dangerous(home, on, law.words("igem_g11", on))
    return tuple(law.reason("danger", says, cure, one.ref, day) for one, day in dangerous)


def open_danger(law: Topic, defect: Defect) -> Reason:
    """The reason for one open defect."""
    title = f" ({defect.title})" if defect.title else ""
    if defect.scheme in STANDARDS:
        what = f"A defect coded {defect.code} ({STANDARDS[defect.scheme]})"
    else:
        what = f"{OWN_WORDS[defect.scheme]} classed ‘{defect.code}’"
    says = f"{what}{title} is open."
    return law.reason("danger", says, CURE, of=defect.ref, since=defect.found)


def speaks_of_a_defect(cure: str) -> bool:
    """Is a danger with this cure one that is recorded as a defect? Any other is on record in some other way."""
    return cure == CURE
