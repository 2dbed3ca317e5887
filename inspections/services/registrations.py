"""Which contractor may be sent which defects: its trades, and registrations that hold on the day of the work."""

from collections.abc import Collection, Iterable
from dataclasses import dataclass
from datetime import date, timedelta

from inspections import words as own
from inspections.models import Contractor, Defect, Registration

SOON_DAYS = 30
"""A registration that ends within so many days is shown as ending soon."""
_WORK = {"gas": "gas work", "electrical": "electrical work"}
_CURE = "Record its renewal on the page of the contractor, or choose another firm."


@dataclass(frozen=True)
class Holds:
    """What a registration is worth on a day: a code (current, soon, lapsed, no_day, withdrawn) and its words."""

    code: str
    words: str

    @property
    def counts(self) -> bool:
        return self.code in ("current", "soon")


def holds(registration: Registration, day: date) -> Holds:
    """A last good day that is not recorded proves nothing."""
    if registration.until is None and not _withdrawn(registration.withdrawn, day):
        return Holds("no_day", "its last good day is not recorded, so it proves nothing")
    return between(registration.until, registration.withdrawn, day)


def between(until: date | None, withdrawn: date | None, day: date) -> Holds:
    """What something is worth on a day that is good until another, or without an end, unless withdrawn."""
    if withdrawn is not None and _withdrawn(withdrawn, day):
        return Holds("withdrawn", f"withdrawn on {_day(withdrawn)}")
    if until is None:
        return Holds("current", "without an end")
    if until < day:
        return Holds("lapsed", f"ended on {_day(until)}")
    if until - day <= timedelta(days=SOON_DAYS):
        return Holds("soon", f"ends soon, on {_day(until)}")
    return Holds("current", f"good until {_day(until)}")


def _withdrawn(withdrawn: date | None, day: date) -> bool:
    return withdrawn is not None and withdrawn <= day


def trade_needed(defect: Defect) -> str | None:
    """Whose trade the defect is; None where neither its trade nor its scheme says so."""
    if defect.scheme == "igem_g11":
        return "gas"
    return defect.trade or own.TRADE_OF.get(defect.scheme)


def registrations_needed(defect: Defect) -> tuple[str, ...]:
    """Kinds of registration without which nobody may be sent it. The network's own equipment is the network's."""
    gas = defect.scheme == "igem_g11" or defect.trade == "gas"
    electrical = defect.trade == "electrical" or (
        defect.scheme == "bs7671" and defect.trade not in ("distributor", "gas")
    )
    return tuple(kind for kind, needed in (("gas", gas), ("electrical", electrical)) if needed)


def why_not_send(contractor: Contractor, defects: Iterable[Defect], day: date) -> list[str]:
    """Why this contractor may not be sent these defects, or have mended them on that day; empty when it may.

    One sentence for each defect and reason, with the cure.
    """
    if contractor.ended is not None and contractor.ended <= day:
        return [f"{contractor} is no longer used since {_day(contractor.ended)}. Choose another firm."]
    held = list(contractor.registrations.all())
    return [
        f"‘{defect.title or defect.get_code_display()}’, {defect.unit}: {reason}"
        for defect in defects
        for reason in _reasons(contractor, held, defect, day)
    ]


def why_not_come(
    contractor: Contractor, trades: Collection[str], registration: str | None, day: date
) -> list[str]:
    """Why this contractor may not be asked for work of one of these trades, or of any where there are none.

    `registration`: the kind without which nobody may be asked. Sentences with the cure; empty when it may.
    """
    if contractor.ended is not None and contractor.ended <= day:
        return [f"{contractor} is no longer used since {_day(contractor.ended)}. Choose another firm."]
    said = []
    if trades and not set(trades) & set(contractor.trades):
        named = " or ".join(f"“{own.TRADE[trade]}”" for trade in trades)
        said.append(
            f"it asks for the trade {named}, which {contractor} is not recorded to do. Choose another firm."
        )
    if registration is not None:
        held = [one for one in contractor.registrations.all() if one.kind == registration]
        said += _registered(contractor, held, registration, day)
    return [f"{one[:1].upper()}{one[1:]}" for one in said]


def _reasons(contractor: Contractor, held: list[Registration], defect: Defect, day: date) -> Iterable[str]:
    trade = trade_needed(defect)
    if trade is None:
        yield "whose trade it is is not recorded. Say it on the page of the defect first."
    elif trade not in contractor.trades:
        yield f"its trade is “{own.TRADE[trade]}”, which {contractor} is not recorded to do. Choose another firm."
    for kind in registrations_needed(defect):
        yield from _registered(contractor, [one for one in held if one.kind == kind], kind, day)


def _registered(contractor: Contractor, held: list[Registration], kind: str, day: date) -> Iterable[str]:
    found = [holds(one, day) for one in held]
    if any(one.counts for one in found):
        return
    name = own.REGISTRATION[kind]
    said = next((one.words for one in found if one.code == "lapsed"), "") or next(
        (one.words for one in found), ""
    )
    if not found:
        yield f"it is {_WORK[kind]}, and no “{name}” of {contractor} is on record. Record it, or choose another firm."
    else:
        yield f"it is {_WORK[kind]}, and on {_day(day)} the “{name}” of {contractor} does not hold: {said}. {_CURE}"


def warnings(contractor: Contractor, day: date) -> list[str]:
    """What speaks for asking the firm first, and does not stop a job: common practice, not law."""
    held = [one for one in contractor.registrations.all() if one.withdrawn is None or one.withdrawn > day]
    insured = [holds(one, day) for one in held if one.kind == "insurance"]
    said = []
    if not insured:
        said.append(f"No liability insurance of {contractor} is on record.")
    elif not any(one.counts for one in insured):
        said.append(f"The liability insurance of {contractor} {_not_insured(insured)}.")
    unchecked = [
        one for one in held if one.kind in _WORK and holds(one, day).counts and one.checked_on is None
    ]
    said += [f"{one} was not looked up in its register, as far as is recorded." for one in unchecked]
    return said


def _not_insured(insured: list[Holds]) -> str:
    lapsed = [one.words for one in insured if one.code == "lapsed"]
    return lapsed[0] if lapsed else "has no last good day on record"


def _day(day: date) -> str:
    return f"{day:%-d %b %Y}"
