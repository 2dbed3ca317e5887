"""The wiring of a shared home, licensed or not, and the papers its council may ask for."""

from ..dates import AsOn
from ..home import Home
from ..lawbook import Finding, Topic
from ..model import Reason
from .duties import reported
from .electrical import REPORT, TIMING, in_time, wiring
from .electrical_duties import on_request
from .licensing import explained, needs_shared_licence
from .registry import rule
from .scope import NOT_APPLICABLE, is_shared, landlord_doubt, sharing_doubts, weighed

_NEEDS = {**TIMING, "council_copy_days": int}
_DUTIES = ("report_to_council", "gas_to_council")


@rule(_NEEDS | {"outside_landlords": list}, duties=_DUTIES)
def managed(home: Home, law: Topic, on: AsOn) -> Finding:
    """Wiring tested every five years, and its report and the gas record to a council that asks.

    England: SI 2006/372 reg 6. Wales: WSI 2006/1713 reg 6. What the test found is for other requirements.
    """
    shared = is_shared(home)
    if shared is False or home.unit.landlord in law.words("outside_landlords", on):
        return NOT_APPLICABLE
    doubts = sharing_doubts(home, law) if shared is None else landlord_doubt(home, law)
    return _with_requests(home, law, on, in_time(home, law, on, REPORT), doubts)


@rule(_NEEDS | {"failing_codes": list}, duties=_DUTIES, reads=("ni_hmo",))
def licensed(home: Home, law: Topic, on: AsOn) -> Finding:
    """The same for a home that needs a licence as a shared home, its wiring satisfactory too; SR 2019/31 reg 6."""
    reached, facts = needs_shared_licence(home, law.shelf["ni_hmo"], on)
    if not reached and not facts:
        return NOT_APPLICABLE
    doubts = explained(law, facts) + landlord_doubt(home, law)
    return _with_requests(home, law, on, wiring(home, law, on), doubts)


def _with_requests(home: Home, law: Topic, on: AsOn, found: Finding, doubts: tuple[Reason, ...]) -> Finding:
    owed = []
    for kind, name in (("eicr", "report_to_council"), ("gas_safety_record", "gas_to_council")):
        papers = home.papers(kind, "inspected", on)
        owed += on_request(home, law, on, papers, "council", name, "council_copy_days")
    told = reported(law, owed)
    return weighed(found, doubts)._replace(duties=told.duties, warnings=told.warnings)
