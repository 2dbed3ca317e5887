"""Days for damp, mould and emergencies: all lets in Scotland (SSI 2026/173), social homes in England (SI 2025/1042)."""

from collections.abc import Callable, Collection
from datetime import date
from typing import NamedTuple

from ..dates import AsOn, within_days_of
from ..home import Home
from ..lawbook import Finding, Topic
from ..model import Act, Defect, Duty, State
from .danger import open_danger
from .duties import duty, reported
from .registry import rule
from .scope import NOT_APPLICABLE, is_long_letting, landlord_doubt, letting_doubt, no_list, weighed

DAMP = "damp_mould"


class Case(NamedTuple):
    """What is known of one damp or dangerous thing, or, with no defect, of the home as a whole."""

    of: str | None
    defect: Defect | None
    told: tuple[Act, ...]
    """Reports the landlord had, oldest first; those that came in while an earlier one was unanswered left out."""
    looked: tuple[date, ...]
    """Days on which an investigation ended that answers a report, oldest first."""
    ended: tuple[date, ...]
    """Those of them that were of this very thing."""


_CLOCKS = {"landlords": list, "long_letting_years": int, "investigate_days": int, "summary_days": int}


@rule(
    _CLOCKS | {"barring_codes": list, "safety_codes": list, "safety_days": int},
    duties=("investigate", "summary", "start_work"),
)
def repairing_standard(home: Home, law: Topic, on: AsOn) -> Finding:
    """Housing (Scotland) Act 2006 s.13(1)(ha): no damp or mould to speak of; s.14(5)-(8): days to look and to begin."""
    if is_outside(home, law, on):
        return NOT_APPLICABLE
    owed: list[Duty] = []
    for case in _cases(home, law, on, _is_damp):
        owed += _investigations(home, law, on, case)
        owed += _summaries(home, law, on, case)
        if case.defect is not None and case.defect.code in law.words("safety_codes", on):
            owed += _works(home, law, on, case, "start_work")
    clocks = reported(law, owed)
    if home.defects is None:
        found = no_list(law, "defects")
    else:
        bars = home.open_defects(DAMP, law.words("barring_codes", on), on)
        state = State.NOT_MET if bars else State.MET
        found = Finding(state, problems=tuple(open_danger(law, one) for one in bars))
    found = found._replace(warnings=clocks.warnings, duties=clocks.duties)
    return weighed(found, landlord_doubt(home, law) + letting_doubt(home, law))


@rule(
    _CLOCKS
    | {
        "emergencies": list,
        "emergency_hours": int,
        "safety_codes": list,
        "safety_days": int,
        "further_weeks": int,
    },
    duties=("make_safe", "investigate", "summary", "safety_work", "further_work"),
)
def social_hazards(home: Home, law: Topic, on: AsOn) -> Finding:
    """Landlord and Tenant Act 1985 s.10A and SI 2025/1042: not met while any of its days has gone by."""
    if is_outside(home, law, on):
        return NOT_APPLICABLE
    if home.defects is None:
        return no_list(law, "defects")
    if home.unit.events is None:
        return no_list(law, "events")
    emergencies = law.words("emergencies", on)
    owed: list[Duty] = []
    for case in _cases(home, law, on, lambda one: _is_damp(one) or _is_listed(one, emergencies)):
        urgent = case.defect is not None and _is_listed(case.defect, emergencies)
        owed += (_made_safe if urgent else _investigations)(home, law, on, case)
        owed += _summaries(home, law, on, case)
        if case.defect is not None and (urgent or case.defect.code in law.words("safety_codes", on)):
            owed += [] if urgent else _works(home, law, on, case, "safety_work")
            owed += _further_works(home, law, on, case)
    clocks = reported(law, owed)
    found = Finding(
        State.NOT_MET if clocks.warnings else State.MET, problems=clocks.warnings, duties=clocks.duties
    )
    return weighed(found, landlord_doubt(home, law) + letting_doubt(home, law))


def is_outside(home: Home, law: Topic, on: AsOn) -> bool:
    """Landlords the pack does not list (none before the law began), and long lettings."""
    reached = law.words("landlords", on)
    landlord = home.unit.landlord
    if not reached or (landlord is not None and landlord not in reached):
        return True
    return is_long_letting(home, law.number("long_letting_years", on))


def _is_damp(defect: Defect) -> bool:
    return defect.scheme == DAMP


def _is_listed(defect: Defect, listed: tuple[str, ...]) -> bool:
    return f"{defect.scheme} {defect.code}" in listed


def _cases(home: Home, law: Topic, on: AsOn, counts: Callable[[Defect], bool]) -> list[Case]:
    """What was reported or looked into and is owed to somebody still; nothing once every tenancy is over."""
    if not home.unit.events or (home.unit.tenancies and not home.tenancies(on)):
        return []
    mine: dict[str | None, Defect | None] = {None: None}
    mine |= {one.ref: one for one in home.defects or () if counts(one)}
    damp = {of for of, one in mine.items() if one is None or _is_damp(one)}
    found = []
    for of, defect in mine.items():
        # A report of damp somewhere is answered by whatever investigation of damp follows it.
        looked = _happened(home, law, on, "investigated", damp if of is None else {of})
        answers = tuple(act.on for act in looked if act.on is not None)
        ended = tuple(act.on for act in looked if act.on is not None and act.of == of)
        told = _unanswered(_happened(home, law, on, "aware", {of}), answers)
        if told or ended:
            found.append(Case(of, defect, told, answers, ended))
    return found


def _happened(home: Home, law: Topic, on: AsOn, what: str, of: Collection[str | None]) -> list[Act]:
    """Acts that have happened while the law reached this landlord, oldest first; one with no day comes first."""
    found = [
        act for act in home.acts_of(what)
        if act.of in of and (act.on is None or on.reached(act.on))
        and _reached_on(home, law, act.on)
    ]  # fmt: skip
    return sorted(found, key=lambda act: (act.on or date.min, act.at or "", act.of or ""))


def _reached_on(home: Home, law: Topic, day: date | None) -> bool:
    """A landlord whose kind is not recorded is taken to be reached; the verdict says what is not known."""
    entry = law.entry_on("landlords", day) if day is not None else law.values["landlords"][-1]
    listed = entry.value if entry is not None and isinstance(entry.value, tuple) else ()
    return home.unit.landlord in listed if home.unit.landlord else bool(listed)


def _unanswered(told: list[Act], answers: tuple[date, ...]) -> tuple[Act, ...]:
    """Leaves out a report that came while an earlier one still waited: the days run from the first."""
    kept: list[Act] = []
    for act in told:
        last = kept[-1].on if kept else None
        if last is None or act.on is None or any(last <= day < act.on for day in answers):
            kept.append(act)
    return tuple(kept)


def _investigations(home: Home, law: Topic, on: AsOn, case: Case) -> list[Duty]:
    """An investigation ends within so many working days, the first being the day after the report."""
    days, found = law.number("investigate_days", on), []
    for act in case.told:
        due = None if act.on is None else law.working_days_after(home, act.on, days)
        done = act.on is not None and any(day >= act.on for day in case.looked)
        found.append(duty(law, "investigate", due, done, on, value="investigate_days", of=case.of))
    return found


def _summaries(home: Home, law: Topic, on: AsOn, case: Case) -> list[Duty]:
    """The tenant has what was found in writing, so many working days after the investigation ended."""
    days, found = law.number("summary_days", on), []
    given = home.acts("copy_given", "tenant", (case.of,), on) if case.ended else []
    for ended in case.ended:
        due, done = law.working_days_after(home, ended, days), any(day >= ended for day in given)
        found.append(duty(law, "summary", due, done, on, value="summary_days", party="tenant", of=case.of))
    return found


def _works(home: Home, law: Topic, on: AsOn, case: Case, name: str) -> list[Duty]:
    """Safety work so many working days after the investigation ended: begun (`start_work`) or done."""
    days, begun = law.number("safety_days", on), name == "start_work" and _is_begun(home, on, case)
    done = begun or _is_safe(on, case)
    return [
        duty(
            law, name, law.working_days_after(home, ended, days), done, on, value="safety_days", of=case.of
        )
        for ended in case.ended
    ]  # fmt: skip


def _further_works(home: Home, law: Topic, on: AsOn, case: Case) -> list[Duty]:
    """Work that keeps it from coming back has visibly begun so many weeks after the investigation ended."""
    days = 7 * law.number("further_weeks", on)
    defect = case.defect
    done = _is_begun(home, on, case) or (
        defect is not None and _has_come(on, defect.completed, defect.confirmed)
    )
    return [
        duty(law, "further_work", within_days_of(ended, days), done, on, value="further_weeks", of=case.of)
        for ended in case.ended
    ]


def _made_safe(home: Home, law: Topic, on: AsOn, case: Case) -> list[Duty]:
    """Clock hours from the hour of the report. With no hour recorded it is taken to be the day's first minute."""
    days, done = law.number("emergency_hours", on) // 24, _is_safe(on, case)
    found = []
    for act in case.told:
        due = None if act.on is None else within_days_of(act.on, days if act.at else days - 1)
        one = duty(law, "make_safe", due, done, on, value="emergency_hours", of=case.of)
        found.append(one._replace(by=act.at) if act.at else one)
    return found


def _is_begun(home: Home, on: AsOn, case: Case) -> bool:
    return any(
        act.of == case.of and act.on is not None and on.reached(act.on)
        for act in home.acts_of("work_started")
    )


def _is_safe(on: AsOn, case: Case) -> bool:
    defect = case.defect
    return defect is not None and _has_come(on, defect.made_safe, defect.completed, defect.confirmed)


def _has_come(on: AsOn, *days: date | None) -> bool:
    return any(day is not None and on.reached(day) for day in days)
