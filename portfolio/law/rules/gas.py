"""The landlord's yearly gas check in Great Britain (SI 1998/2451, regs 36 and 36A)."""

from datetime import date
from typing import NamedTuple

from ..dates import AsOn, add_months, day_after, start_of_months_ending_with
from ..home import Home, is_open
from ..lawbook import Finding, Topic
from ..model import Appliance, Certificate, Part, Reason, State
from .duties import copies_to_tenants, reported
from .registry import rule
from .scope import NOT_APPLICABLE, is_long_letting, letting_doubt, no_list, undated, weighed

_NEEDS = {
    "interval_months": int, "window_months": int, "keep_from": date, "alignment_months": int,
    "checked_appliances": list, "dangerous_results": list, "danger_codes": list, "long_letting_years": int,
}  # fmt: skip
_RANK = {State.MET: 0, State.NOT_APPLICABLE: 0, State.UNKNOWN: 1, State.NOT_MET: 2}


class Check(NamedTuple):
    day: date
    results: tuple[str, ...]
    records: tuple[Certificate, ...]
    """The records of that day that name the appliance."""

    @property
    def record(self) -> str:
        return self.records[-1].ref


class Chain(NamedTuple):
    """One appliance's checks added up: the day the next is due by, and whether the last kept the old day."""

    appliance: Appliance
    last: Check | None
    deadline: date | None
    kept: bool


@rule(_NEEDS)
def landlord_check(home: Home, law: Topic, on: AsOn) -> Finding:
    """Each appliance the landlord provides checked in time and found safe; reg 36(3) read with reg 36A."""
    if _is_long_lease(home, law, on):
        return NOT_APPLICABLE
    if home.appliances is None:
        return no_list(law, "appliances")
    wanted, nameless = _appliances(home, law, on)
    if not wanted and not nameless:
        return NOT_APPLICABLE
    return weighed(_checked(home, law, on, wanted, nameless), letting_doubt(home, law))


def _is_long_lease(home: Home, law: Topic, on: AsOn) -> bool:
    """A lease of seven years or more is outside; a licence, or what may be one, is inside however long."""
    kind = home.unit.letting.kind
    return kind not in (None, "licence") and is_long_letting(home, law.number("long_letting_years", on))


def _appliances(home: Home, law: Topic, on: AsOn) -> tuple[list[Appliance], list[Reason]]:
    """Those the landlord must have checked, and a reason for each that may be one.

    An appliance whose owner is not recorded is taken to be the landlord's.
    """
    kinds = law.words("checked_appliances", on)
    wanted, nameless = [], []
    for one in home.appliances or ():
        if one.owner == "tenant" or not (one.installed is None or on.reached(one.installed)):
            continue
        if one.kind is None:
            nameless.append(law.unrecorded("appliances.kind", "what kind of appliance this is", of=one.ref))
        elif one.kind in kinds:
            wanted.append(one)
    return wanted, nameless


def _checked(home: Home, law: Topic, on: AsOn, wanted: list[Appliance], unknowns: list[Reason]) -> Finding:
    if not home.has_papers:
        return no_list(law, "certificates")
    papers = home.papers("gas_safety_record", "inspected", on)
    unknowns = unknowns + [undated(law, p.ref, "inspected", "the gas record") for p in papers.undated]
    unknowns += [
        law.unrecorded("appliances", "which appliances the gas record covers", of=p.ref)
        for _, p in papers.counted if p.appliances is None
    ]  # fmt: skip
    lines = _lines(papers.counted)
    chains = [chain(law, one, _checks_of(one, lines)) for one in wanted]
    judged = [_judge(home, law, on, one, chains) for one in chains]
    parts = tuple(part for part, _ in judged)
    unknowns += [r for _, reasons in judged for r in reasons if r.kind == "unknown"]
    failures = [r for _, reasons in judged for r in reasons if r.kind != "unknown"]
    if papers.undated or any(p.appliances is None for _, p in papers.counted):
        # A record we cannot place might be the very check that seems to be missing.
        failures = [r for r in failures if r.kind == "failed"]
    state = State.NOT_MET if failures else State.UNKNOWN if unknowns else State.MET
    due = min((part.due for part in parts if part.due is not None), default=None)
    worst = max(parts, key=lambda p: (_RANK[p.state], -(p.due or date.min).toordinal()), default=None)
    return Finding(state, due, worst.certificate if worst else None, (*unknowns, *failures), parts=parts)


Lines = dict[str, list[tuple[date, str, Certificate]]]


def _lines(records: tuple[tuple[date, Certificate], ...]) -> Lines:
    """What each appliance's checks said, by its ref, oldest first; "" where the result is not recorded."""
    lines: Lines = {}
    for day, record in records:
        for line in record.appliances or ():
            lines.setdefault(line.appliance, []).append((day, line.result or "", record))
    return lines


def _checks_of(appliance: Appliance, lines: Lines) -> list[Check]:
    """Its checks by day, oldest first.

    "Not tested" is no check, and a check made before the appliance was fitted was of another one.
    """
    found: dict[date, Check] = {}
    for day, result, record in lines.get(appliance.ref, ()):
        fitted = appliance.installed is None or day >= appliance.installed
        if fitted and result != "not_tested":
            before = found.get(day, Check(day, (), ()))
            found[day] = Check(day, (*before.results, result), (*before.records, record))
    return list(found.values())


def chain(law: Topic, appliance: Appliance, checks: list[Check]) -> Chain:
    """Follow the checks in order, moving the deadline on from the old one where reg 36A lets it stand.

    A check inside the two months that end with the deadline counts as made on the deadline. An earlier one
    starts the year afresh from its own day; so does a late one.
    """
    deadline, kept = None, False
    if appliance.installed is not None:
        deadline = add_months(appliance.installed, law.number("interval_months", AsOn(appliance.installed)))
    for check in checks:
        then = AsOn(check.day)
        start = check.day
        kept = deadline is not None and _keeps(law, then, deadline)
        if deadline is not None and kept:
            start = deadline
        deadline = add_months(start, law.number("interval_months", then))
    return Chain(appliance, checks[-1] if checks else None, deadline, kept)


def _keeps(law: Topic, then: AsOn, deadline: date) -> bool:
    """Was a check made `then` inside the two months that end with the deadline, reg 36A being in force?"""
    if then.passed(deadline) or not then.reached(law.day("keep_from", then)):
        return False
    return then.reached(start_of_months_ending_with(deadline, law.number("window_months", then)))


def keeps_from(law: Topic, deadline: date) -> date | None:
    """The first day on which a check keeps this deadline as its day of the year; None where none does."""
    then = AsOn(deadline)
    months = law.number("window_months", then)
    first = start_of_months_ending_with(deadline, months)
    return max(first, law.day("keep_from", then)) if first <= deadline else None


def _judge(home: Home, law: Topic, on: AsOn, one: Chain, chains: list[Chain]) -> tuple[Part, list[Reason]]:
    """One appliance's part and what is wrong with it."""
    ref, reasons = one.appliance.ref, []
    due = one.deadline if one.last else _aligned(one, chains, law.number("alignment_months", on))
    if one.last and "" in one.last.results:
        reasons.append(law.unrecorded("appliances.result", "the result of an appliance's gas check", of=ref))
    if one.last and _is_dangerous(home, law, on, ref, one.last):
        says = "An appliance failed its last gas check and is not confirmed as put right."
        cure = "Have it put right and confirmed, or have it checked again and found safe."
        reasons.append(law.reason("failed", says, cure, of=ref, since=one.last.day))
    if due is None or on.passed(due):
        kind = "lapsed" if one.last else "missing"
        fault = "'s gas check is out of date" if one.last else " has no gas check on record"
        since = day_after(due) if due else None
        cure = "Have it checked by a registered gas engineer and record the check."
        told = law.entry("interval_months", _counted_from(one, on))
        reasons.append(law.reason(kind, f"An appliance{fault}.", cure, ref, since, told))
    state = State.MET
    if reasons:
        state = State.UNKNOWN if all(r.kind == "unknown" for r in reasons) else State.NOT_MET
    return Part(ref, state, due, one.last.record if one.last else None, one.kept), reasons


def _counted_from(one: Chain, on: AsOn) -> AsOn:
    """The day by whose law the next check is due: that of the last one or, before the first, of the fitting."""
    day = one.last.day if one.last else one.appliance.installed
    return on if day is None else AsOn(day)


def _aligned(new: Chain, chains: list[Chain], months: int) -> date | None:
    """A first check may wait, once, up to two months for the day another appliance is due; reg 36A."""
    if new.deadline is None:
        return None
    limit = add_months(new.deadline, months)
    others = (c.deadline for c in chains if c.last is not None and c.deadline is not None)
    return min((day for day in others if new.deadline < day <= limit), default=new.deadline)


def _is_dangerous(home: Home, law: Topic, on: AsOn, appliance: str, check: Check) -> bool:
    """Is a danger its check found still open? One that is unsatisfactory and names none speaks of each appliance."""
    bad, codes = law.words("dangerous_results", on), law.words("danger_codes", on)
    for record in check.records:
        lines = [line.appliance for line in record.appliances or () if line.result in bad]
        fails = appliance in lines or (record.outcome == "unsatisfactory" and not lines)
        if fails and not _is_put_right(home, on, record, len(lines), codes):
            return True
    return False


def _is_put_right(home: Home, on: AsOn, record: Certificate, dangers: int, codes: tuple[str, ...]) -> bool:
    """Only when the record's dangerous findings are recorded as defects and every one is confirmed."""
    found = home.tied(record.ref, "igem_g11", codes)
    put_right = [d for d in found if d.confirmed is not None and on.reached(d.confirmed)]
    return len(put_right) >= max(1, dangers, len(found))


def found_dangerous(home: Home, on: AsOn, codes: tuple[str, ...]) -> list[tuple[Appliance, date]]:
    """Appliances with one of these codes from their last check, whoever owns them, and the day of it.

    Left out are those put right, and those an open defect of the same record speaks of already.
    """
    results = {code.lower() for code in codes}
    records = home.papers("gas_safety_record", "inspected", on).counted
    if not any(line.result in results for _, record in records for line in record.appliances or ()):
        return []
    lines, found = _lines(records), []
    for one in home.appliances or ():
        for check in _checks_of(one, lines)[-1:]:
            if any(_is_open_on(home, on, record, one.ref, results, codes) for record in check.records):
                found.append((one, check.day))
    return found


def _is_open_on(
    home: Home, on: AsOn, record: Certificate, appliance: str, results: set[str], codes: tuple[str, ...]
) -> bool:
    bad = [line.appliance for line in record.appliances or () if line.result in results]
    if appliance not in bad or any(is_open(one, on) for one in home.tied(record.ref, "igem_g11", codes)):
        return False
    return not _is_put_right(home, on, record, len(bad), codes)


@rule(_NEEDS | {"copy_days": int}, duties=("copy_to_tenant",))
def record_duties(home: Home, law: Topic, on: AsOn) -> Finding:
    """A copy of each record relied on: to those living there in 28 days, to others by move-in; reg 36(6)."""
    if not home.unit.tenancies or _is_long_lease(home, law, on):
        return Finding()
    wanted, _ = _appliances(home, law, on)
    lines = _lines(home.papers("gas_safety_record", "inspected", on).counted)
    relied_on = {(c.record, c.day) for one in wanted for c in _checks_of(one, lines)[-1:]}
    return reported(law, copies_to_tenants(home, law, on, sorted(relied_on), law.begins))
