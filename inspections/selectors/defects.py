"""The defects of one home, and one defect with all that its page shows."""

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from django.db.models import Q

from inspections import words as own
from inspections.catalogue import Typical, typical
from inspections.models import Contractor, Defect, Job
from inspections.paperwork import WORKS, Papers, expected
from inspections.selectors.evidence import Shown, evidence_of
from inspections.selectors.open_defects import Row, ranked, rows_of, trade_of
from inspections.selectors.papers_lacking import Lacking, lacking_of
from inspections.selectors.urgent import urgencies
from inspections.services.competence import why_not_confirm
from inspections.services.papers_back import Back, may_leave_papers, papers_back, place_of, works_for
from inspections.services.reports import SCHEME_OF
from inspections.services.tell import what_now
from inspections.urgency import Urgency
from portfolio import access
from portfolio.clock import Moment
from portfolio.models import Event, Unit
from portfolio.selectors.naming import paper_words, room_called

REPORTS_SHOWN = 3


@dataclass(frozen=True)
class Defects:
    open: list[Row]
    shut: list[Defect]
    reports: list[tuple[int, str]]
    """Papers whose observations can be entered, by id and in words, the latest first."""


def defects_of(unit: Unit, moment: Moment) -> Defects:
    """Open ones in the order in which they press, and those put right, the latest first."""
    found = Defect.objects.filter(unit=unit)
    order = ranked(found, "", moment.day)
    shut = found.filter(confirmed__isnull=False).select_related("confirmed_by")
    papers = unit.certificates.filter(kind__in=SCHEME_OF, inspected__isnull=False, withdrawn=None)
    return Defects(
        rows_of(order.ids, order, moment.day),
        list(shut.order_by("-confirmed", "-pk")),
        [(paper.pk, paper_words(paper)) for paper in papers.order_by("-inspected", "-pk")[:REPORTS_SHOWN]],
    )


@dataclass(frozen=True)
class DefectPage:
    defect: Defect
    urgency: Urgency
    days_late: int
    now: tuple[str, ...]
    """What to do now, before anybody comes to mend it."""
    room: str
    usual: Typical | None
    """Its entry in the catalogue of typical defects."""
    evidence: Shown
    events: list[Event]
    job: Job | None
    """The job it is in, for those who may see jobs."""
    with_firm: Contractor | None
    """Whom it is with."""
    work: str
    """The kind of work in words; empty while it is not recorded."""
    back: Back
    lacking: list[Lacking]
    """Papers that came as proof and of which more has to be recorded."""
    likely: Papers | None
    """What usually has to come back, while nothing is said to be done."""
    works: list[tuple[str, str]]
    """Kinds of work to choose from; nothing where it does not matter which it was."""
    firms: Any
    """Contractors to choose from; None for those who do not see them."""
    can: frozenset[str]
    """What this person may do about it now: safe, done, evidence, describe, back, confirm, recode, send."""
    why_not: str
    """Why they may not judge the work; empty when they may."""

    @property
    def band(self) -> str:
        return own.BAND[self.urgency.band]

    @property
    def trade(self) -> str:
        return own.TRADE.get(trade_of(self.defect) or "", "")

    @property
    def may_withdraw(self) -> bool:
        return "evidence" in self.can and self.defect.confirmed is None

    @property
    def likely_work(self) -> str:
        """The usual work in words, within a sentence."""
        label = WORKS[self.likely.work].label if self.likely else ""
        return label[:1].lower() + label[1:]

    @property
    def work_needed(self) -> bool:
        """Has whoever confirms it to say what kind of work was done?"""
        return self.back.work_unknown and may_leave_papers(self.defect)


def defect_page(defect: Defect, user: Any, moment: Moment) -> DefectPage:
    """`defect` with its home, landlord, room, paper and people."""
    urgency = urgencies(Defect.objects.filter(pk=defect.pk))[defect.pk]
    item = defect.items.filter(ended_at=None).select_related("job__contractor").first()
    sees_jobs = access.may(user, "see_jobs")
    usual = typical().get(defect.typical)
    why_not = why_not_confirm(user, defect, moment)
    return DefectPage(
        defect=defect,
        urgency=urgency,
        days_late=urgency.days_late(moment.day) if defect.confirmed is None else 0,
        now=what_now(defect) if defect.confirmed is None else (),
        room=room_called(defect.room) if defect.room else "",
        usual=usual,
        evidence=evidence_of([defect.pk])[defect.pk],
        events=list(_events(defect)),
        job=item.job if item is not None and sees_jobs else None,
        with_firm=item.job.contractor if item is not None else None,
        work=WORKS[defect.work].label if defect.work in WORKS else "",
        back=papers_back(defect),
        lacking=lacking_of(defect),
        likely=_likely(defect, usual, moment),
        works=works_for(defect),
        firms=_firms(user) if sees_jobs else None,
        can=_can(defect, user, why_not, in_job=item is not None),
        why_not=why_not,
    )


def _likely(defect: Defect, usual: Typical | None, moment: Moment) -> Papers | None:
    """What has to come back after the work that such a defect usually needs, if it were done today."""
    if defect.completed is not None or usual is None or usual.work not in WORKS:
        return None
    return expected(usual.work, place=place_of(defect), nation=defect.unit.building.nation, on=moment.day)


def _firms(user: Any) -> Any:
    return Contractor.objects.visible_to(user).filter(ended=None).order_by("name")


def _events(defect: Defect) -> Iterable[Event]:
    """Its own lines of record and those of its evidence, the latest first."""
    subjects = [
        f"defect:{defect.pk}",
        *(f"evidence:{pk}" for pk in defect.evidence.values_list("pk", flat=True)),
    ]
    found = Event.objects.filter(Q(unit=defect.unit_id) & Q(subject__in=subjects))
    return found.select_related("actor").order_by("-seq")


def _can(defect: Defect, user: Any, why_not: str, *, in_job: bool) -> frozenset[str]:
    if defect.confirmed is not None:
        return frozenset({"evidence"} if access.may(user, "add_evidence") else ())
    done = defect.completed is not None
    asked = {
        "safe": access.may(user, "make_safe") and not done,
        "done": access.may(user, "claim_done") and not done,
        "evidence": access.may(user, "add_evidence"),
        "describe": access.may(user, "record_defect"),
        "back": done and not why_not,
        "confirm": done and access.may(user, "confirm") and not why_not,
        "recode": access.may(user, "recode") and not why_not,
        "send": access.may(user, "send_job") and not done and not in_job,
    }
    return frozenset(name for name, holds in asked.items() if holds)
