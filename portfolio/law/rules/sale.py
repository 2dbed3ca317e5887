"""The home report that has to be there before a home is put up for sale in Scotland."""

from datetime import date

from ..dates import AsOn, day_after, within_days_of
from ..home import Home
from ..lawbook import Finding, Topic
from ..model import Duty, State
from .duties import duty, reported
from .registry import rule
from .scope import NOT_APPLICABLE, no_list, undated


@rule({"weeks": int, "copy_days": int}, duties=("copy_to_prospect",))
def home_report(home: Home, law: Topic, on: AsOn) -> Finding:
    """A report not too old when the home was first marketed, or now if it is not; SSI 2008/76 regs 3 and 6.

    Of the marketing that has begun the newest counts.
    """
    if home.unit.dwelling == "room":
        return NOT_APPLICABLE
    clocks = reported(law, _copies(home, law, on), sale=True)
    found = _report(home, law, on)
    return found._replace(sale_warnings=clocks.sale_warnings, duties=clocks.duties)


def _report(home: Home, law: Topic, on: AsOn) -> Finding:
    if not home.has_papers:
        return no_list(law, "certificates")
    papers = home.papers("home_report", "inspected", on)
    if papers.undated:
        return law.unknown(*(undated(law, one.ref, "inspected", "the home report") for one in papers.undated))
    cure = "Have a new home report made before the home is marketed."
    if not papers.counted:
        missing = law.reason("missing", "There is no home report.", cure)
        return Finding(State.NOT_MET, problems=(missing,))
    surveyed, paper = papers.counted[-1]
    last = within_days_of(surveyed, 7 * law.number("weeks", on))
    if not on.passed(last) and not _begun(home, on):
        return Finding(State.MET, last, paper.ref)
    if home.unit.marketing is None:
        return law.unknown(law.unrecorded("marketing", "whether and since when the home is on the market"))
    if any(row.purpose == "sale" and row.starts is None for row in home.unit.marketing):
        return law.unknown(law.unrecorded("marketing.from", "the first day on the market for sale"))
    begun = _begun(home, on)
    if begun and max(begun) <= last:
        return Finding(State.MET, None, paper.ref)
    weeks = law.number("weeks", on)
    says = f"The home report is too old: more than {weeks} weeks, counted to the first day on the market."
    old = law.reason("lapsed", says, cure, paper.ref, day_after(last), law.entry("weeks", on))
    return Finding(State.NOT_MET, last, paper.ref, (old,))


def _begun(home: Home, on: AsOn) -> list[date]:
    """First days on the market for sale that have come."""
    rows = home.unit.marketing or ()
    return [row.starts for row in rows if row.purpose == "sale" and row.starts and on.reached(row.starts)]


def _copies(home: Home, law: Topic, on: AsOn) -> list[Duty]:
    """A copy to whoever may buy and has asked for the report; Housing (Scotland) Act 2006 s.99."""
    refs = [paper.ref for _, paper in home.papers("home_report", "inspected", on).counted]
    if not refs or not home.unit.events:
        return []
    given = home.acts("copy_given", "prospect", refs, on)
    return [
        duty(
            law, "copy_to_prospect", within_days_of(asked, law.number("copy_days", on)),
            any(day >= asked for day in given), on, value="copy_days", party="prospect", of=ref,
        )
        for ref in refs for asked in home.acts("request_received", "prospect", (ref,), on)
    ]  # fmt: skip
