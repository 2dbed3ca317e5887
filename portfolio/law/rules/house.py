"""The house's own rules beside the law. Each is silent until a policy turns it on, but for failed reports in Wales."""

from datetime import date, timedelta

from ..dates import AsOn, add_months, day_after
from ..home import Home
from ..lawbook import Finding, Topic
from ..model import RATINGS, Alarm, Reason, State
from .electrical import has_failed
from .registry import RULES, rule
from .scope import NOT_APPLICABLE, no_list, undated

_GAS = {"england": "gb_gas_check", "wales": "gb_gas_check", "scotland": "gb_gas_check"}
_MARGINS = {
    "gas_margin_days": ("gas check", _GAS | {"northern_ireland": "ni_gas_check"}),
    "electrical_margin_days": (
        "electrical report",
        {"england": "eng_eicr", "wales": "wal_eicr", "scotland": "sco_eicr", "northern_ireland": "ni_eicr"},
    ),
    "energy_margin_days": (
        "energy certificate",
        {"england": "ew_epc", "wales": "ew_epc", "scotland": "sco_epc", "northern_ireland": "ni_epc"},
    ),
}


@rule(dict.fromkeys(_MARGINS, int))
def margin(home: Home, law: Topic, on: AsOn) -> Finding:
    """No let begins with fewer days left on a paper than the house wants in hand.

    Barred when the last good day lies fewer than N days after the day asked about; a paper that has run out
    already is for the requirement itself to bar.
    """
    days = {name: law.number(name, on) for name in _MARGINS}
    if not any(days.values()):
        return NOT_APPLICABLE
    problems, dues = [], []
    for name, (words, topics) in _MARGINS.items():
        asked = law.shelf.get(topics.get(home.building.nation or "", ""))
        if not days[name] or asked is None:
            continue
        found = RULES[asked.rule].function(home, asked, on)
        if found.state is not State.MET or found.due is None:
            continue
        last = _days_before(found.due, days[name])
        dues.append((last, found.certificate))
        if on.passed(last):
            says = f"The {words} is good until {found.due:%-d %B %Y}; the house policy wants {days[name]} days in hand."
            told = law.entry(name, on)
            problems.append(
                law.reason("lapsed", says, "Renew it first.", found.certificate, day_after(last), told)
            )
    if not dues:
        return NOT_APPLICABLE  # no paper in date, so that there are no days in hand to count
    due, paper = min(dues, key=lambda one: (one[0], one[1] or ""))
    return Finding(State.NOT_MET if problems else State.MET, due, paper, tuple(problems))


def _days_before(day: date, days: int) -> date:
    return date.min if (day - date.min).days < days else day - timedelta(days=days)


@rule({"worst_band": str})
def energy_band(home: Home, law: Topic, on: AsOn) -> Finding:
    """The band on the latest energy certificate, held against the worst the house lets."""
    worst: str = law.at("worst_band", on)
    if worst not in RATINGS or home.unit.dwelling == "room":
        return NOT_APPLICABLE
    if not home.has_papers:
        return no_list(law, "certificates")
    held = home.papers("epc", "registered", on)
    latest = held.latest()
    if held.undated:
        return law.unknown(
            *(undated(law, one.ref, "registered", "the energy certificate") for one in held.undated)
        )
    if not latest:
        return NOT_APPLICABLE  # whether there must be one is for the law to say
    paper = max(latest, key=lambda one: (one.rating or "Z", one.ref))
    if paper.rating is None:
        return law.unknown(law.unrecorded("rating", "the band on the energy certificate", of=paper.ref))
    if paper.rating <= worst:
        return Finding(State.MET, None, paper.ref)
    says = f"The energy band is {paper.rating}; the house policy lets nothing below {worst}."
    cure = "Improve the home and register a new certificate."
    reason = law.reason("below_standard", says, cure, paper.ref, told=law.entry("worst_band", on))
    return Finding(State.NOT_MET, None, paper.ref, (reason,))


@rule({"months": int})
def alarm_test(home: Home, law: Topic, on: AsOn) -> Finding:
    """Every alarm tested within so many months."""
    months = law.number("months", on)
    if not months:
        return NOT_APPLICABLE
    if home.alarms is None:
        return no_list(law, "alarms")
    if unrecorded := [alarm for alarm in home.alarms if alarm.tested is None]:
        words = "the days on which the alarm was tested"
        return law.unknown(*(law.unrecorded("alarms.tested", words, of=one.ref) for one in unrecorded))
    lasts = [(alarm, _tested_until(alarm, months, on)) for alarm in home.alarms]
    problems = tuple(
        _untested(law, on, alarm, last) for alarm, last in lasts if last is None or on.passed(last)
    )
    due = min((last for _, last in lasts if last is not None), default=None)
    return Finding(State.NOT_MET if problems else State.MET, due, problems=problems)


def _tested_until(alarm: Alarm, months: int, on: AsOn) -> date | None:
    """Last good day after the latest test; None when there has been none yet."""
    days = [day for day in alarm.tested or () if on.reached(day)]
    return add_months(max(days), months) if days else None


def _untested(law: Topic, on: AsOn, alarm: Alarm, last: date | None) -> Reason:
    if last is None:
        says, kind, since = "An alarm has never been tested.", "missing", None
    else:
        says = f"An alarm was to be tested again by {last:%-d %B %Y}, as the house policy wants."
        kind, since = "lapsed", day_after(last)
    told = law.entry("months", on)
    return law.reason(kind, says, "Test it and record the day.", alarm.ref, since, told)


@rule({"nations": list, "failing_codes": list})
def failed_report(home: Home, law: Topic, on: AsOn) -> Finding:
    """An unsatisfactory electrical report not put right, where the law itself asks only for its date."""
    if home.building.nation not in law.words("nations", on) or not home.has_papers:
        return NOT_APPLICABLE
    codes, latest = law.words("failing_codes", on), home.papers("eicr", "inspected", on).latest()
    failed = [paper for paper in latest if has_failed(home, codes, on, paper)]
    unsaid = [paper for paper in latest if paper.outcome is None]
    if unsaid and not failed:
        words = "whether the electrical report was satisfactory"
        return law.unknown(*(law.unrecorded("outcome", words, of=paper.ref) for paper in unsaid))
    if not failed:
        return Finding(State.MET)
    says = "The latest electrical report is unsatisfactory and is not confirmed as put right."
    cure = "Have every C1, C2 and FI on it put right and confirmed, or have a new inspection."
    reason = law.reason("failed", says, cure, failed[0].ref, failed[0].inspected)
    return Finding(State.NOT_MET, None, failed[0].ref, (reason,))
