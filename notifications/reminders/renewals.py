"""Papers that run out and duties that are owed, of a whole agency: read from the days that its standings name."""

from collections.abc import Collection, Iterable, Mapping, Sequence
from datetime import date, timedelta
from hashlib import sha256
from typing import NamedTuple

from django.db.models import Q

from inspections.services.tell import address
from notifications.reminders.lead_times import ALARMS, Leads, kind_of, late_days
from notifications.reminders.plan import LAPSED, Concern, Line, countdown, owed
from notifications.words import DUTY
from portfolio import words
from portfolio.law.loader import load
from portfolio.law.model import BUILDING_PAPERS
from portfolio.law.rules.gas import keeps_from
from portfolio.models import Certificate, Due, Unit
from portfolio.selectors.calendar import requirement_title
from portfolio.selectors.duties import title_of, titles

RENEWAL = "renewal"
KINDS = (RENEWAL, DUTY)
COLUMNS = ("is_duty", "code", "due", "party", "of", "unit_id")
GAS_CHECKS = ("gb_gas_check", "ni_gas_check")
HOUSE = "house_"
"""What the codes of the house's own rules begin with."""
LONGEST_CAUSE = 200


class Row(NamedTuple):
    """A day that a standing names."""

    is_duty: bool
    code: str
    due: date | None
    party: str
    of: str
    unit: int

    @property
    def kind(self) -> str:
        return DUTY if self.is_duty else RENEWAL

    @property
    def cause(self) -> str:
        parts = [self.kind, str(self.unit), self.code, self.of, *([self.party] if self.is_duty else [])]
        told = ":".join([*parts, self.due.isoformat() if self.due else "no day"])
        if len(told) <= LONGEST_CAUSE:
            return told
        return f"{self.kind}:{self.unit}:{sha256(told.encode()).hexdigest()}"


def found(agency_id: int, day: date, leads: Leads) -> list[Concern]:
    """What has reached a milestone: every paper within its lead time or run out, and duties likewise. One query."""
    last = day + timedelta(days=max((max(days) for days in leads.values() if days), default=0))
    rows = Due.objects.filter(Q(due__lte=last) | Q(is_duty=True, due=None), unit__agency=agency_id)
    more = ("unit__landlord_id", "unit__building_id")
    concerns = []
    for *columns, landlord, building in rows.order_by("due", "unit", "pk").values_list(*COLUMNS, *more):
        row = Row(*columns)
        milestone = _milestone(row, day, leads)
        if milestone:
            shared = not row.is_duty and kind_of(row.code) in BUILDING_PAPERS
            concerns.append(
                Concern(
                    cause=row.cause,
                    kind=row.kind,
                    milestone=milestone,
                    unit_id=row.unit,
                    landlord_id=landlord,
                    due=row.due,
                    code=row.code,
                    of=row.of,
                    party=row.party,
                    group=f"{building}:{row.code}:{row.of}:{row.due}" if shared else "",
                )
            )
    return concerns


def _milestone(row: Row, day: date, leads: Leads) -> str:
    if row.is_duty:
        return owed(row.due, day, leads[DUTY], late_days())
    return "" if row.due is None else countdown(row.due, day, leads[kind_of(row.code)])


def still_true(causes: Iterable[str]) -> set[str]:
    """Those of these causes that are still there; other sources' causes are left out. One query."""
    asked = {cause for cause in causes if cause.partition(":")[0] in KINDS}
    homes = {int(cause.split(":")[1]) for cause in asked}
    rows = Due.objects.filter(unit__in=homes).values_list(*COLUMNS)
    return asked & {Row(*row).cause for row in rows}


def lines(concerns: Sequence[Concern], day: date) -> list[Line]:
    """The concerns in words. Two queries."""
    ids = {one.unit_id for one in concerns}
    homes = Unit.objects.select_related("building").in_bulk(ids)
    kinds = _kinds_of_paper(concerns)
    known = titles()
    return [
        Line(
            says=_duty(one, known)
            if one.kind == DUTY
            else _renewal(one, kinds.get((one.unit_id, one.of)), day),
            home=str(homes[one.unit_id]),
            due=one.due,
            late=one.due is not None and one.due < day,
            url=address("home", one.unit_id) + ("#duties" if one.kind == DUTY else ""),
        )
        for one in concerns
    ]


def _kinds_of_paper(concerns: Collection[Concern]) -> dict[tuple[int, str], str]:
    wanted = {(one.unit_id, one.of) for one in concerns if one.kind == RENEWAL and one.of}
    if not wanted:
        return {}
    papers = Certificate.objects.filter(
        unit__in={unit for unit, _ in wanted}, ref__in={ref for _, ref in wanted}
    )
    return {(unit, ref): kind for unit, ref, kind in papers.values_list("unit_id", "ref", "kind")}


def _duty(one: Concern, known: Mapping[str, str]) -> str:
    return title_of(one.code, known) + ("" if one.due else "; by when is not known")


def _renewal(one: Concern, kind: str | None, day: date) -> str:
    """What to do about a paper; `kind` is that of the paper on record, if there is one."""
    if kind_of(one.code) == ALARMS:
        return "The alarms were not tested in time" if one.milestone == LAPSED else "Test the alarms"
    paper = words.CERTIFICATE.get(kind or "") or requirement_title(one.code)
    if one.code.startswith(HOUSE):
        late, early = "Not renewed as early as the house policy asks", "Renew early, as the house policy asks"
        return f"{late if one.milestone == LAPSED else early}: {paper}"
    if one.milestone == LAPSED:
        return f"{'Ran out' if one.of else 'Still to be had'}: {paper}"
    if one.code in GAS_CHECKS and one.due is not None:
        return _gas(one.code, one.due, day, paper)
    return f"Renew: {paper}"


def _gas(code: str, due: date, day: date, paper: str) -> str:
    """Within the months in which a check keeps the day of the year, that it is time; before them, when they begin."""
    first = keeps_from(load().topics[code], due)
    if first is None:
        return f"Renew: {paper}"
    keeps = f"a check done from {first:%-d %b %Y} keeps the anniversary {due:%-d %b %Y}"
    return f"Book the gas check now: {keeps}" if first <= day else f"Renew: {paper}; {keeps}"
