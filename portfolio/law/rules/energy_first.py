"""Energy certificates where there must be one before a home goes on the market: Scotland and Northern Ireland."""

from datetime import date

from ..dates import AsOn, day_after
from ..home import Home
from ..lawbook import Dated, Finding, Topic
from ..model import Certificate, State
from .energy import governing, registered_on
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
        return _missing(law)
    ended_by = law.entry("validity_years", registered_on(paper))
    is_old = new_from is not None and (paper.registered or date.min) < new_from
    if is_old and (stop := law.day("old_style_until", on)) < last:
        last, ended_by = stop, law.entry("old_style_until", on)
    if on.passed(last):
        return _lapsed(law, paper, last, ended_by)
    if not is_old or new_from is None or not on.reached(new_from):
        return Finding(State.MET, last, paper.ref)
    says = (
        f"The energy certificate is of the old kind, which can be used until {last:%-d %B %Y} at the latest."
    )
    cure = "Have a certificate of the new kind made and registered in good time."
    warning = law.reason("pending", says, cure, paper.ref, told=law.entry("old_style_until", on))
    return Finding(
        State.MET, last, paper.ref, warnings=(warning,), sale_warnings=(warning,), basis=warning.basis
    )


_CURE = "Have an energy assessment made and registered before the home is marketed."


def _missing(law: Topic) -> Finding:
    fault = law.reason("missing", "There is no energy certificate.", _CURE)
    return Finding(State.NOT_MET, problems=(fault,))


def _lapsed(law: Topic, paper: Certificate, last: date, ended_by: Dated) -> Finding:
    says = "The energy certificate is out of date."
    fault = law.reason("lapsed", says, _CURE, paper.ref, day_after(last), ended_by)
    return Finding(State.NOT_MET, last, paper.ref, (fault,))
