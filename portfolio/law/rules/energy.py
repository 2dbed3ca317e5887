"""The energy certificate in England and Wales (SI 2012/3118), and the lowest band that may be let (SI 2015/962).

Scotland and Northern Ireland, where nothing may go on the market without one, are in `energy_first`.
"""

from datetime import date
from typing import NamedTuple

from ..dates import AsOn, add_months, add_years, day_after, days_starting_with
from ..home import Home
from ..lawbook import Finding, Topic
from ..model import Certificate, Duty, Marketing, Reason, State
from .duties import duty, reported
from .registry import rule
from .scope import (
    NOT_APPLICABLE,
    THOUGHT_OUTSIDE,
    is_settled,
    landlord_doubt,
    letting_doubt,
    no_list,
    undated,
    weighed,
)


class Governing(NamedTuple):
    """The certificate that counts on a day, if any, its last good day, and papers that might displace it."""

    paper: Certificate | None
    last: date | None
    undated: tuple[Certificate, ...]


def governing(home: Home, law: Topic, on: AsOn) -> Governing:
    """The latest registered certificate, even if an older one is better or lasts longer; SI 2012/3118 reg 9.

    Of several registered on one day the worst band counts, none recorded being worst, and the earliest end.
    """
    papers = home.papers("epc", "registered", on)
    latest = papers.latest()
    if not latest:
        return Governing(None, None, papers.undated)
    last = min(_last_good_day(one, law) for one in latest)
    return Governing(max(latest, key=lambda one: (one.rating or "Z", one.ref)), last, papers.undated)


def _last_good_day(paper: Certificate, law: Topic) -> date:
    """The anniversary, or a printed day before it; how long it lasts is the law of the day it was registered."""
    years = law.number("validity_years", registered_on(paper))
    anniversary = add_years(paper.registered or date.max, years)
    return anniversary if paper.until is None else min(anniversary, paper.until)


def registered_on(paper: Certificate) -> AsOn:
    """The day by whose law a certificate lasts."""
    return AsOn(paper.registered or date.max)


@rule({"validity_years": int, "grace_days": int})
def certificate(home: Home, law: Topic, on: AsOn) -> Finding:
    """A let needs a valid certificate; a sale one, or one ordered and no more than 28 days of marketing."""
    if home.unit.dwelling == "room":
        return NOT_APPLICABLE
    found = _certificate(home, law, on)
    if home.unit.dwelling is not None:
        return found
    doubts = (law.unrecorded("dwelling", "whether this is a house, a flat or a room"),)
    sale = found.sale_problems
    return weighed(found, doubts)._replace(sale_problems=None if sale is None else doubts + sale)


def _certificate(home: Home, law: Topic, on: AsOn) -> Finding:
    if not home.has_papers:
        return no_list(law, "certificates")
    paper, last, unplaced = governing(home, law, on)
    if unplaced:
        reasons = (undated(law, p.ref, "registered", "the energy certificate") for p in unplaced)
        return law.unknown(*reasons)
    if paper is not None and last is not None and not on.passed(last):
        return Finding(State.MET, last, paper.ref)
    cure = "Have an energy assessment made and registered."
    if paper is None or last is None:
        fault = law.reason("missing", "There is no energy certificate.", cure)
    else:
        says = "The energy certificate is out of date."
        told = law.entry("validity_years", registered_on(paper))
        fault = law.reason("lapsed", says, cure, paper.ref, day_after(last), told)
    bars, warnings = _sale_without(home, law, on, paper)
    return Finding(State.NOT_MET, last, paper.ref if paper else None, (fault,), bars, sale_warnings=warnings)


def _sale_without(
    home: Home, law: Topic, on: AsOn, old: Certificate | None
) -> tuple[tuple[Reason, ...], tuple[Reason, ...]]:
    """Bars and warnings for a sale with no valid certificate. An order answered by a certificate is spent."""
    orders = home.papers("epc_commission", "issued", on)
    if orders.undated:
        what = "the order for an energy certificate"
        return tuple(undated(law, paper.ref, "issued", what) for paper in orders.undated), ()
    spent = old.registered if old and old.registered else date.min
    live = [paper for day, paper in orders.counted if day > spent]
    if not live:
        says = "There is no valid energy certificate and none has been ordered."
        return (law.reason("not_commissioned", says, "Order an energy assessment before marketing."),), ()
    if home.unit.marketing is None:
        return (law.unrecorded("marketing", "whether and since when the home is on the market"),), ()
    last, unknown = _last_market_day(home, law, on)
    if unknown:
        return (law.unrecorded("marketing.from", "the first day on the market for sale"),), ()
    cure = "Have the energy certificate registered."
    if last is not None and on.passed(last):
        says = "The home has been on the market for longer than it may be without an energy certificate."
        told = law.entry("grace_days", on)
        return (law.reason("missing", says, cure, live[-1].ref, day_after(last), told),), ()
    says = "An energy certificate has been ordered but is not registered yet."
    return (), (law.reason("pending", says, cure, live[-1].ref, told=law.entry("grace_days", on)),)


def _last_market_day(home: Home, law: Topic, on: AsOn) -> tuple[date | None, bool]:
    """Last day the newest marketing may go on without a certificate; and whether a start is not recorded."""
    sales = [m.starts for m in home.unit.marketing or () if m.purpose == "sale"]
    if None in sales:
        return None, True
    begun = [start for start in sales if start is not None and on.reached(start)]
    return (days_starting_with(max(begun), law.number("grace_days", on)) if begun else None), False


@rule(
    {"validity_years": int, "effort_days": int, "grace_days": int}, duties=("within_7_days", "within_28_days")
)
def marketing_duties(home: Home, law: Topic, on: AsOn) -> Finding:
    """On the market without a certificate: efforts to have it in 7 days, and to be had by day 28; reg 7."""
    if not home.unit.marketing:
        return Finding()
    if home.unit.dwelling == "room" or not home.has_papers:
        return Finding()
    found = {purpose: _owed(home, law, on, purpose) for purpose in ("let", "sale")}
    let, sale = reported(law, found["let"]), reported(law, found["sale"], sale=True)
    both = reported(law, found["let"] + found["sale"]).duties
    return Finding(duties=both, warnings=let.warnings, sale_warnings=sale.sale_warnings)


def _owed(home: Home, law: Topic, on: AsOn, purpose: str) -> list[Duty]:
    """The two days that count from the newest marketing, unless a certificate was good on its first day."""
    entries: list[Marketing] = [m for m in home.unit.marketing or () if m.purpose == purpose and m.starts]
    begun = [m.starts for m in entries if m.starts and on.reached(m.starts) and m.starts >= law.begins]
    if not begun:
        return []
    start = max(begun)
    at_start = governing(home, law, AsOn(start))
    if at_start.paper is not None and at_start.last is not None and at_start.last >= start:
        return []
    done = any(day > start for day, _ in home.papers("epc", "registered", on).counted)
    return [
        duty(law, name, days_starting_with(start, law.number(value, on)), done, on, value=value)
        for name, value in (("within_7_days", "effort_days"), ("within_28_days", "grace_days"))
    ]


_BAND_NEEDS = {
    "barred_ratings": list, "letting_kinds": list, "letting_kinds_wales": list, "outside_landlords": list,
    "exemption_years": int, "new_landlord_months": int, "continuing_from": date,
}  # fmt: skip


@rule(_BAND_NEEDS, reads=("ew_epc",))
def minimum_band(home: Home, law: Topic, on: AsOn) -> Finding:
    """No letting below band E unless an exemption is registered; SI 2015/962 regs 23 and 25, 31-36.

    The band is read off the certificate in force. With none in force this rule is silent and `ew_epc` speaks.
    """
    letting, landlord = home.unit.letting.kind, home.unit.landlord
    kinds = "letting_kinds_wales" if home.building.nation == "wales" else "letting_kinds"
    if letting is not None and letting not in law.words(kinds, on):
        return THOUGHT_OUTSIDE
    if landlord is not None and landlord in law.words("outside_landlords", on):
        return THOUGHT_OUTSIDE
    found = weighed(_band(home, law, on), letting_doubt(home, law) + landlord_doubt(home, law))
    if is_settled(found):
        return found
    return found._replace(continuing=on.reached(law.day("continuing_from", on)))


def _band(home: Home, law: Topic, on: AsOn) -> Finding:
    epc = law.shelf["ew_epc"]
    if not home.has_papers:
        return no_list(law, "certificates")
    paper, last, unplaced = governing(home, epc, on)
    if unplaced:
        reasons = (undated(law, p.ref, "registered", "the energy certificate") for p in unplaced)
        return law.unknown(*reasons)
    if paper is None or last is None or on.passed(last):
        return NOT_APPLICABLE
    if paper.rating is None:
        return law.unknown(law.unrecorded("rating", "the band on the energy certificate", of=paper.ref))
    if paper.rating not in law.words("barred_ratings", on):
        return Finding(State.MET, None, paper.ref)
    return _exempted(home, law, on, paper)


def _exempted(home: Home, law: Topic, on: AsOn, paper: Certificate) -> Finding:
    """A registered exemption that is still running; the one that lasts longest counts, or lasted if all are over."""
    unknowns: list[Reason] = []
    live: list[tuple[date, str]] = []
    over: list[tuple[date, str]] = []
    registered = home.papers("mees_exemption", "registered", on)
    for one in registered.undated:
        unknowns.append(undated(law, one.ref, "registered", "the exemption from the lowest band"))
    for day, one in registered.counted:
        if one.exemption is None:
            unknowns.append(law.unrecorded("exemption", "which exemption was registered", of=one.ref))
        else:
            end = _exemption_end(home, law, on, one, day)
            (over if on.passed(end) else live).append((end, one.ref))
    if live:
        end, ref = max(live)
        return Finding(State.MET, end, ref)
    if unknowns:
        return law.unknown(*unknowns)
    says = f"The energy band is {paper.rating}, too low to let, and no exemption is running."
    cure = "Improve the home and register a new certificate, or register an exemption that applies."
    reasons = (law.reason("below_standard", says, cure, of=paper.ref),)
    last, ref = max(over, default=(None, paper.ref))
    return Finding(State.NOT_MET, last, ref, reasons)


def _exemption_end(home: Home, law: Topic, on: AsOn, paper: Certificate, registered: date) -> date:
    """Counted from registration; a new landlord's from the day the let home was bought, where that is earlier."""
    months, start = 12 * law.number("exemption_years", on), registered
    if paper.exemption == "new_landlord":
        months = law.number("new_landlord_months", on)
        start = min(registered, home.unit.acquired_with_tenant or registered)
    end = add_months(start, months)
    return end if paper.until is None else min(end, paper.until)
