"""Papers around a letting, and after building work, that are owed but bar nothing."""

from collections.abc import Callable, Sequence
from datetime import date

from ..dates import AsOn, days_starting_with, within_days_of
from ..home import Home
from ..lawbook import Finding, Topic
from ..model import Act, Certificate, Duty, Reason, State, Tenancy
from .duties import duty, reported
from .registry import rule
from .scope import NOT_APPLICABLE, landlord_doubt, letting_doubt, no_list, weighed

_WHO = {"landlords": list, "letting_kinds": list}
Due = Callable[[Tenancy | None, date | None, int], date | None]
"""The last day, from the tenancy (if it is on record), the day of what happened, and a number of days."""


def _is_outside(home: Home, law: Topic, on: AsOn) -> bool:
    whose, kind = home.unit.landlord, home.unit.letting.kind
    if whose is not None and whose not in law.words("landlords", on):
        return True
    return kind is not None and kind not in law.words("letting_kinds", on)


def _told(home: Home, law: Topic, owed: Sequence[Duty]) -> Finding:
    """Not met while anything is late. With nothing owed there is nothing to ask."""
    if not owed:
        return NOT_APPLICABLE
    clocks = reported(law, owed)
    state = State.NOT_MET if clocks.warnings else State.MET
    found = Finding(state, problems=clocks.warnings, duties=clocks.duties)
    return weighed(found, landlord_doubt(home, law) + letting_doubt(home, law))


@rule(_WHO | {"protect_days": int, "inform_days": int}, duties=("protect", "inform"))
def deposit(home: Home, law: Topic, on: AsOn) -> Finding:
    """Protected, and the tenant told how, within days of receipt: Housing Act 2004 s.213 and its like."""
    return _deposit(home, law, on, lambda _, received, days: received and within_days_of(received, days))


@rule(_WHO | {"protect_days": int, "inform_days": int}, duties=("protect", "inform"))
def deposit_from_start(home: Home, law: Topic, on: AsOn) -> Finding:
    """The same within working days of the start of the tenancy: SSI 2011/176 reg 3. No start on record, no last day."""

    def due(tenancy: Tenancy | None, _: date | None, days: int) -> date | None:
        start = tenancy.starts if tenancy else None
        return None if start is None else law.working_days_after(home, start, days)

    return _deposit(home, law, on, due)


def _deposit(home: Home, law: Topic, on: AsOn, due: Due) -> Finding:
    if _is_outside(home, law, on):
        return NOT_APPLICABLE
    if home.unit.events is None:
        return no_list(law, "events")
    owed: list[Duty] = []
    for act in _deposits(home, law, on):
        tenancy = next((one for one in home.unit.tenancies or () if one.ref == act.of), None)
        then = AsOn(act.on) if act.on else on
        for name, value, answer in (
            ("protect", "protect_days", "deposit_protected"),
            ("inform", "inform_days", "deposit_information_given"),
        ):
            done = bool(_days(home, answer, act.of, on))
            party = "tenant" if name == "inform" else None
            last = due(tenancy, act.on, law.number(value, then))
            owed.append(duty(law, name, last, done, on, value=value, party=party, of=act.of, then=then))
    return _told(home, law, owed)


def _deposits(home: Home, law: Topic, on: AsOn) -> list[Act]:
    """Those received by the day and since the law began, for a tenancy that is not over."""
    received = home.acts_of("deposit_received")
    if not received or (home.unit.tenancies and not home.tenancies(on)):
        return []
    current = {one.ref for one in home.tenancies(on)}
    over = {one.ref for one in home.unit.tenancies or ()} - current
    return [
        one for one in received
        if one.of not in over and (one.on is None or (one.on >= law.begins and on.reached(one.on)))
    ]  # fmt: skip


def _days(home: Home, what: str, of: str | None, on: AsOn) -> list[date]:
    """Days by which something was done for the tenant, whether or not the record says for whom."""
    return home.acts(what, "tenant", (of,), on) + home.acts(what, None, (of,), on)


@rule(_WHO, duties=("give",))
def terms_before(home: Home, law: Topic, on: AsOn) -> Finding:
    """The terms in writing before the tenancy is entered into: Housing Act 1988 s.16D."""
    return _for_each(home, law, on, "terms_given", "give", lambda one: one.granted or one.starts)


@rule(_WHO | {"days": int}, duties=("give",))
def terms_from_start(home: Home, law: Topic, on: AsOn) -> Finding:
    """A written statement in so many days, the day of occupation the first: Renting Homes (Wales) Act 2016 s.31."""

    def due(one: Tenancy) -> date | None:
        return None if one.starts is None else days_starting_with(one.starts, law.number("days", on))

    return _for_each(home, law, on, "terms_given", "give", due)


@rule(_WHO | {"days": int}, duties=("give",))
def terms_after_grant(home: Home, law: Topic, on: AsOn) -> Finding:
    """A notice in so many days after the grant: Private Tenancies (NI) Order 2006 art 4A."""

    def due(one: Tenancy) -> date | None:
        granted = one.granted or one.starts
        return None if granted is None else within_days_of(granted, law.number("days", on))

    return _for_each(home, law, on, "terms_given", "give", due)


@rule(_WHO, duties=("check",))
def right_to_rent(home: Home, law: Topic, on: AsOn) -> Finding:
    """Every adult's right to rent checked before they move in: Immigration Act 2014 ss.20-24."""
    return _for_each(home, law, on, "right_to_rent_checked", "check", lambda one: one.starts)


def _for_each(
    home: Home, law: Topic, on: AsOn, what: str, name: str, due: Callable[[Tenancy], date | None]
) -> Finding:
    """One duty for each tenancy, coming or running, that was granted since the law began."""
    if _is_outside(home, law, on):
        return NOT_APPLICABLE
    if home.unit.tenancies is None:
        return no_list(law, "tenancies")
    mine = [one for one in home.tenancies(on) if _is_held_to(law, one)]
    if mine and home.unit.events is None:
        return no_list(law, "events")
    value = next(value for value in ("days", "letting_kinds") if value in law.values)
    party = "tenant" if name == "give" else None
    owed = [
        duty(law, name, due(one), bool(_days(home, what, one.ref, on)), on, value=value, party=party, of=one.ref)
        for one in mine
    ]  # fmt: skip
    return _told(home, law, owed)


def _is_held_to(law: Topic, tenancy: Tenancy) -> bool:
    """A tenancy with no day on record is taken to be new enough."""
    granted = tenancy.granted or tenancy.starts
    return granted is None or granted >= law.begins


@rule({"papers": list, "days": int}, duties=("certificate",))
def notified_work(home: Home, law: Topic, on: AsOn) -> Finding:
    """Papers for work that has to be notified, and the certificate 30 days after it: SI 2010/2214 regs 17 and 20."""
    if not _works(home, law, on):
        return completed_work(home, law, on)
    days, owed = law.number("days", on), []
    notices = _dated(home, on, ("building_work_notice",))
    for work in _works(home, law, on):
        due = None if work.on is None else within_days_of(work.on, days)
        done = any(_is_for(paper, day, work) for day, paper in notices)
        owed.append(duty(law, "certificate", due, done, on, value="days", of=work.of))
    return completed_work(home, law, on)._replace(duties=reported(law, owed).duties)


@rule({"papers": list})
def completed_work(home: Home, law: Topic, on: AsOn) -> Finding:
    """A paper for every piece of notifiable work on record. Nothing is asked of a home with no work on record."""
    if home.unit.events is None:
        return no_list(law, "events")
    works = _works(home, law, on)
    if not works:
        return NOT_APPLICABLE
    if not home.has_papers:
        return no_list(law, "certificates")
    held = _dated(home, on, law.words("papers", on))
    without = [one for one in works if not any(_is_for(paper, day, one) for day, paper in held)]
    if any(one.on is None for one in without):
        return law.unknown(law.unrecorded("events.on", "the day on which the building work was finished"))
    problems = tuple(_bare(law, one) for one in without)
    return Finding(State.NOT_MET if problems else State.MET, problems=problems)


def _works(home: Home, law: Topic, on: AsOn) -> list[Act]:
    done = home.acts_of("work_completed")
    found = [one for one in done if one.on is None or (one.on >= law.begins and on.reached(one.on))]
    return sorted(found, key=lambda one: (one.on or date.min, one.of or ""))


def _dated(home: Home, on: AsOn, kinds: Sequence[str]) -> list[tuple[date, Certificate]]:
    """Papers of these kinds by the day they were issued or, where that is not recorded, inspected."""
    found: list[tuple[date, Certificate]] = []
    for kind in kinds:
        found += home.papers(kind, "issued", on).counted
        found += [one for one in home.papers(kind, "inspected", on).counted if one[1].issued is None]
    return found


def _is_for(paper: Certificate, day: date, work: Act) -> bool:
    """The paper the work is recorded under, or any made on the day the work was finished or later."""
    return paper.ref == work.of or (work.on is not None and day >= work.on)


def _bare(law: Topic, work: Act) -> Reason:
    says = (
        f"Work that has to be notified was finished on {work.on:%-d %B %Y} and no paper for it is on record."
    )
    cure = "Find the certificate or have the work regularised; tell a buyer that asks."
    return law.reason("missing", says, cure, work.of, work.on)
