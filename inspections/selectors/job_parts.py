"""What a job says of its defects, home by home: the same for the mail, the sheet, the link and our own page."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from typing import Any

from inspections.catalogue import typical
from inspections.cautions import cautions
from inspections.models import Contractor, Defect
from inspections.paperwork import PLACES, WORKS, Papers, expected, missing
from inspections.selectors.evidence import Piece, evidence_of
from inspections.selectors.urgent import urgencies
from inspections.services.registrations import trade_needed
from inspections.urgency import Urgency
from inspections.words import BAND
from portfolio.models import Unit
from portfolio.selectors.naming import rooms_called

DONE, SENT_BACK, TO_DO = "done", "sent_back", "to_do"
WITH = ("unit__building", "unit__landlord", "unit__agency", "room", "certificate")


@dataclass(frozen=True)
class Line:
    """One defect of a job."""

    defect: Defect
    urgency: Urgency
    now: tuple[str, ...]
    """What to do now, before anybody comes to mend it."""
    before: list[Piece]
    after: list[Piece]
    """Proof that this contractor brought and still relies on."""
    papers: Papers | None
    """What must come back, by the work done or, before that, by the work usual for such a defect."""
    wanting: tuple[Any, ...]
    """What of it has not come yet."""
    late: bool
    """Past its last day, and not said to be done."""
    room: str
    """What it is called, with its storey; "" where it is in no one room."""

    @property
    def due(self) -> date:
        """For putting lines in order: one without a day comes last."""
        return self.urgency.due or date.max

    @property
    def band(self) -> str:
        return BAND[self.urgency.band]

    @property
    def title(self) -> str:
        return self.defect.title or self.defect.get_code_display()

    @property
    def state(self) -> str:
        if self.defect.completed is not None:
            return DONE
        return SENT_BACK if self.defect.sent_back_why else TO_DO

    @property
    def where(self) -> str:
        return ", ".join(part for part in (self.room, self.defect.place) if part)


@dataclass(frozen=True)
class Part:
    """The defects of a job in one home, the most pressing first."""

    unit: Unit
    lines: list[Line]

    @property
    def address(self) -> str:
        return address_of(self.unit)


def address_of(unit: Unit) -> str:
    """Where it is, on one line."""
    building = unit.building
    lines = list(building.address or ([building.name] if building.name else [building.ref]))
    return ", ".join(str(part) for part in (unit.label, *lines, building.postcode) if part)


def parts_of(defect_ids: Iterable[int], contractor: Contractor | None = None, *, day: date) -> list[Part]:
    """These defects by home, as of a day. The number of queries does not grow with theirs."""
    wanted = Defect.objects.filter(pk__in=list(defect_ids))
    days = urgencies(wanted)
    shown, called = evidence_of(days), rooms_called(wanted.values_list("unit_id", flat=True))
    by_unit: dict[int, list[Line]] = {}
    for defect in wanted.select_related(*WITH).order_by("unit__building__name", "unit__label", "unit", "pk"):
        pieces = shown[defect.pk]
        theirs = [one for one in pieces.after if contractor and one.evidence.contractor_id == contractor.pk]
        papers = papers_of(defect, usual_work(defect), day)
        held = {one.evidence.paper for one in theirs}
        by_unit.setdefault(defect.unit_id, []).append(
            Line(
                defect=defect,
                urgency=days[defect.pk],
                now=_now(defect),
                before=pieces.before,
                after=theirs,
                papers=papers,
                wanting=missing(papers, {kind for kind in held if kind}) if papers else (),
                late=defect.completed is None and days[defect.pk].days_late(day) > 0,
                room=called[defect.room_id].full if defect.room_id else "",
            )
        )
    return [
        Part(
            lines[0].defect.unit,
            sorted(lines, key=lambda line: (line.urgency.band, line.due, line.defect.pk)),
        )
        for lines in by_unit.values()
    ]


def lines_in(parts: Iterable[Part]) -> list[Line]:
    return [line for part in parts for line in part.lines]


def first_due(parts: Iterable[Part], *, whole: bool = False) -> date | None:
    """The earliest last day of what is not said to be done yet, or of the `whole`; mere advice does not count."""
    asked = [line.urgency.asked_by for line in lines_in(parts) if whole or line.state != DONE]
    return min((day for day in asked if day is not None), default=None)


def dangers(parts: Iterable[Part]) -> list[str]:
    """What to do now about all that is a danger, each sentence once."""
    return list(
        dict.fromkeys(says for line in lines_in(parts) if line.urgency.band == 0 for says in line.now)
    )


def usual_work(defect: Defect) -> str:
    """The kind of work done, or else the one usual for such a defect; "" when neither is known."""
    known = typical().get(defect.typical)
    return defect.work or (known.work if known is not None else "")


def works_fitting(defect: Defect) -> list[tuple[str, str]]:
    """The kinds of work to choose from: those of its trade, and the one usual for such a defect."""
    trade, usual = trade_needed(defect) or "other", usual_work(defect)
    return [(code, work.label) for code, work in WORKS.items() if trade in work.trades or code == usual]


def papers_of(defect: Defect, work: str, day: date) -> Papers | None:
    """What this work leaves when it is done, or was done, on that day; None while the work is not known."""
    if work not in WORKS:
        return None
    use = defect.room.use if defect.room is not None else None
    return expected(
        work,
        place=use if use in PLACES else None,
        nation=defect.unit.building.nation,
        on=defect.completed or day,
    )


def _now(defect: Defect) -> tuple[str, ...]:
    return cautions(
        scheme=defect.scheme,
        code=defect.code,
        trade=defect.trade,
        suspected=defect.suspected,
        nation=defect.unit.building.nation,
        typical=defect.typical,
    )
