"""Housing hazards and the orders a council makes over them (Housing Act 2004 Part 1)."""

from datetime import date

from ..dates import AsOn
from ..home import Home
from ..lawbook import Finding, Topic
from ..model import Reason, State
from .danger import open_danger
from .registry import rule
from .scope import no_list


@rule({"barring_codes": list, "warning_codes": list})
def housing_hazards(home: Home, law: Topic, on: AsOn) -> Finding:
    """No hazard of the worst category open (s.5) and no prohibition order standing (ss.20-25).

    An order is known only if it is recorded: nobody is asked to say that there is none.
    """
    orders = _orders(home, law, on)
    if home.defects is None:
        unknown = no_list(law, "defects")
        return unknown._replace(problems=(*unknown.problems, *orders))
    bars = home.open_defects("hhsrs", law.words("barring_codes", on), on)
    lesser = home.open_defects("hhsrs", law.words("warning_codes", on), on)
    problems = (*(open_danger(law, one) for one in bars), *orders)
    sure = any(one.kind != "unknown" for one in problems)
    state = State.NOT_MET if sure else State.UNKNOWN if problems else State.MET
    return Finding(state, problems=problems, warnings=tuple(open_danger(law, one) for one in lesser))


def _orders(home: Home, law: Topic, on: AsOn) -> tuple[Reason, ...]:
    """Orders made and not lifted since, by what they are of; one with no day stands until that day is known."""
    made: dict[str | None, list[date | None]] = {}
    lifted: dict[str | None, date] = {}
    for act in home.acts_of("prohibition_made"):
        if act.on is None or on.reached(act.on):
            made.setdefault(act.of, []).append(act.on)
    for act in home.acts_of("prohibition_lifted") if made else ():
        if act.on is not None and on.reached(act.on):
            lifted[act.of] = max(act.on, lifted.get(act.of, act.on))
    found = []
    for of in sorted(made, key=lambda of: of or ""):
        last = lifted.get(of)
        standing = [day for day in made[of] if day is None or last is None or day > last]
        if standing:
            found.append(_order(law, of, min((day for day in standing if day), default=None)))
    return tuple(found)


def _order(law: Topic, of: str | None, since: date | None) -> Reason:
    if since is None:
        return law.unrecorded("events.on", "the day of the council's prohibition order", of=of)
    says = "The council has prohibited the use of the home, and the order is not recorded as lifted."
    cure = "Put right what the order names, and record the day on which the council revokes it."
    return law.reason("prohibited", says, cure, of, since)
