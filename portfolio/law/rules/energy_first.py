"""Energy certificates where there must be one before a home goes on the market: Scotland and Northern Ireland."""

from datetime import date

from ..dates import AsOn, day_after
from ..home import Home
from ..lawbook import Finding, Topic
from ..model import Certificate, State
from .energy import governing
from .registry import rule
from .scope import NOT_APPLICABLE, no_list, undated, weighed


@rule({"validity_years": int})
def issued_first(home: Home, law: Topic, on: AsOn) -> Finding:
    """The newest certificate, not older than it may be, for a let and a sale alike: SR 2008/170 regs 5 and 8."""
    return _certificate(home, law, on, None)


@rule({"validity_years": int, "new_style_from": date, "old_style_until": date})
def new_style(home: Home, law: Topic, on: AsOn) -> Finding:
    """The same, and one registered before the new kind of certificate came in may be used for a year more.

    SSI 2025/417 with SSI 2008/309 before it. Once the new kind is there, an old one in use is warned of.
    """
    return _certificate(home, law, on, law.day("new_style_from", on))


def _certificate(home: Home, law: Topic, on: AsOn, new_from: date | None) -> Finding:
    if home.unit.dwelling == "room":
        return NOT_APPLICABLE
    found = _newest(home, law, on, new_from) if home.has_papers else no_list(law, "certificates")
    if home.unit.dwelling is not None:
        return found
    return weighed(found, (law.unrecorded("dwelling", "whether this is a house, a flat or a room"),))


def _newest(home: Home, law: Topic, on: AsOn, new_from: date | None) -> Finding:
    paper, last, unplaced = governing(home, law, on)
    if unplaced:
        return law.unknown(
            *(undated(law, one.ref, "registered", "the energy certificate") for one in unplaced)
        )
    if paper is None or last is None:
        return _without(law, paper, last)
    is_old = new_from is not None and (paper.registered or date.min) < new_from
    if is_old:
        last = min(last, law.day("old_style_until", on))
    if on.passed(last):
        return _without(law, paper, last)
    if not is_old or new_from is None or not on.reached(new_from):
        return Finding(State.MET, last, paper.ref)
    says = (
        f"The energy certificate is of the old kind, which can be used until {last:%-d %B %Y} at the latest."
    )
    cure = "Have a certificate of the new kind made and registered in good time."
    warning = law.reason("pending", says, cure, paper.ref, value="old_style_until")
    return Finding(
        State.MET, last, paper.ref, warnings=(warning,), sale_warnings=(warning,), basis=warning.basis
    )


def _without(law: Topic, paper: Certificate | None, last: date | None) -> Finding:
    cure = "Have an energy assessment made and registered before the home is marketed."
    if paper is None or last is None:
        fault = law.reason("missing", "There is no energy certificate.", cure)
        return Finding(State.NOT_MET, problems=(fault,))
    says = "The energy certificate is out of date."
    fault = law.reason("lapsed", says, cure, paper.ref, day_after(last), value="validity_years")
    return Finding(State.NOT_MET, last, paper.ref, (fault,))
