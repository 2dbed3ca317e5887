"""Duties in common: a copy of a paper to each tenant, and something owed after a request."""

from collections.abc import Callable, Collection, Iterable, Sequence
from datetime import date
from functools import partial

from ..dates import AsOn, day_after, within_days_of
from ..home import Home
from ..lawbook import Finding, Topic
from ..model import Duty, DutyState, Reason, Tenancy

_RANK = {DutyState.DONE: 0, DutyState.OPEN: 1, DutyState.LATE: 2}


def duty(
    law: Topic, name: str, due: date | None, done: bool, on: AsOn, *, value: str, party: str | None = None,
    of: str | None = None, then: AsOn | None = None,
) -> Duty:  # fmt: skip
    """A duty under a topic; `value` names the value that sets its time and gives its source.

    `then` is the day whose law set that time, where it is not the day asked about.
    """
    told = law.entry(value, then or on)
    state = DutyState.DONE if done else DutyState.OPEN
    if not done and due is not None and on.passed(due):
        state = DutyState.LATE
    return Duty(f"{law.id}.{name}", law.duty_titles[name], due, party, of, state, told.source, told.basis)


def reported(law: Topic, duties: Sequence[Duty], *, sale: bool = False) -> Finding:
    """The duties in a stable order, one of each, and a warning for every late one."""
    if not duties:
        return Finding()
    worst: dict[tuple[bool, date, str, str, str], Duty] = {}
    for one in duties:
        key = (one.due is None, one.due or date.min, one.id, one.party or "", one.of or "")
        if key not in worst or _RANK[one.state] > _RANK[worst[key].state]:
            worst[key] = one
    ordered = tuple(worst[key] for key in sorted(worst))
    late = tuple(_late(law, one) for one in ordered if one.state is DutyState.LATE)
    return Finding(duties=ordered, warnings=() if sale else late, sale_warnings=late if sale else ())


def _late(law: Topic, one: Duty) -> Reason:
    since = day_after(one.due) if one.due else None
    says = f"Late: {one.title[:1].lower()}{one.title[1:]}."
    cure = "Do it and record the day it was done."
    return Reason(law.id, "late", one.of, since, says, cure, one.source, one.basis)


def copies_to_tenants(
    home: Home, law: Topic, on: AsOn, papers: Iterable[tuple[str, date]], since: date
) -> list[Duty]:
    """A copy of each paper to each tenant: by move-in if it came first, else within `copy_days` of its day.

    Nothing is asked for a day before `since`, when the duty began.
    """
    days = law.number("copy_days", on)
    return owed_to_tenants(home, law, on, papers, lambda _: since, partial(copy_due, days))


def owed_to_tenants(
    home: Home, law: Topic, on: AsOn, things: Iterable[tuple[str, date]], since: Callable[[Tenancy], date],
    due_of: Callable[[Tenancy, date], date | None], *, name: str = "copy_to_tenant", act: str = "copy_given",
    value: str = "copy_days", also: Collection[str] = (),
    then_of: Callable[[Tenancy, date], AsOn | None] = lambda tenancy, day: None,
) -> list[Duty]:  # fmt: skip
    """Something about each thing (its ref and its day) told to each tenant, by the day that `due_of` says.

    `due_of` says None where nobody can tell by when. Nothing is asked for a day before the duty began for that
    tenancy, nor, where there is no last day, for a thing of before then. Telling of a thing in `also` serves too.
    `then_of` says the day whose law set the time, as for `duty`.
    """
    tenancies = home.tenancies(on)
    found: list[Duty] = []
    for ref, day in things if tenancies else ():
        given = [one for one in home.acts(act, "tenant", (ref, *also), on) if one >= day]
        for tenancy in tenancies:
            due = due_of(tenancy, day)
            if (due is not None or tenancy.starts is not None) and (due or day) < since(tenancy):
                continue
            done = any(_is_for(home, tenancy, on_day) for on_day in given)
            then = then_of(tenancy, day)
            found.append(duty(law, name, due, done, on, value=value, party="tenant", of=ref, then=then))
    return found


def copy_due(days: int, tenancy: Tenancy, day: date) -> date | None:
    """None when the tenancy's start is not recorded: owed, but nobody can say by when."""
    if tenancy.starts is None:
        return None
    return within_days_of(day, days) if tenancy.starts <= day else tenancy.starts


def _is_for(home: Home, tenancy: Tenancy, given: date) -> bool:
    """Was a copy given on this day given to this tenant rather than to the one before?"""
    if tenancy.starts is None:
        return True
    before = [t for t in home.unit.tenancies or () if t.starts is not None and t.starts < tenancy.starts]
    if not before:
        return True
    left = max((t.ends for t in before if t.ends is not None), default=None)
    earliest = min(day for day in (tenancy.granted, day_after(left) if left else None, tenancy.starts) if day)
    return given >= earliest
