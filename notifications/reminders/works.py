"""What a digest says of work: jobs nobody answered, repairs that wait to be confirmed, repairs still wanted."""

from collections import defaultdict
from collections.abc import Iterable, Sequence
from datetime import date, datetime
from typing import Any

from django.db.models import Exists, Min, OuterRef, Q, QuerySet

from inspections.models import Defect, Job, JobItem, JobLink
from inspections.selectors.urgent import urgencies
from inspections.services.competence import hands_of
from inspections.services.tell import address
from notifications.reminders.lead_times import Leads
from notifications.reminders.plan import Concern, Line, owed, since
from portfolio.clock import moment_of
from portfolio.law.dates import working_days_after
from portfolio.law.loader import load
from portfolio.models import Unit, User

UNANSWERED, CONFIRM, NEEDED = "job_unanswered", "proof_to_confirm", "proof_needed"
ANSWER_WORKING_DAYS = 2
"""In which a contractor answers a job, by our own custom."""
UNANSWERED_STEPS = (0, 2, 5, 12, 19, 26, 33)
"""Days after that at which the agents are told again."""
CONFIRM_STEPS = (0, 3, 7, 14)
"""Days after the work is said to be done."""
NEEDED_BEFORE, NEEDED_AFTER = (14, 7, 1, 0), (1, 7, 28)
"""Days before and after the last good day of a repair."""
LEAST_BAND = 2
"""Of `inspections.words.BAND`: what is only advice, or asks for nothing, is not pressed for."""


def found(agency_id: int, day: date, leads: Leads) -> list[Concern]:
    """What is to be said of work on that day. As many queries however much there is; lead times are for papers."""
    return [*_unanswered(agency_id, day), *_to_confirm(agency_id, day), *_needed(agency_id, day)]


def lines(concerns: Sequence[Concern], day: date) -> list[Line]:
    """These concerns as people read them, in their order. As many queries however many they are."""
    defects = _defects(_ids(concerns, CONFIRM, NEEDED))
    jobs = _jobs(_ids(concerns, UNANSWERED))
    barred, firms = _barred(_ids(concerns, CONFIRM)), _firms(_ids(concerns, NEEDED))
    told = []
    for one in concerns:
        pk = _id(one.cause)
        if one.kind == UNANSWERED:
            told.append(_line_of_job(*jobs[pk]))
        elif one.kind == CONFIRM:
            told.append(_line_to_confirm(defects[pk], barred[pk]))
        else:
            told.append(_line_needed(defects[pk], one.due, firms.get(pk, ""), day))
    return told


def still_true(causes: Iterable[str]) -> set[str]:
    """Those of these causes that hold as they did when they were found; other sources' causes are left out."""
    asked = defaultdict(list)
    for cause in causes:
        asked[cause.partition(":")[0]].append(cause)
    jobs = waiting(Job.objects.filter(pk__in=map(_id, asked["job"])))
    defects = Defect.objects.filter(pk__in=map(_id, [*asked["proof"], *asked["repair"]]), confirmed=None)
    done = dict(defects.values_list("pk", "completed"))
    true = {_job_cause(pk, link) for pk, link in jobs.values_list("pk", "link")}
    true |= {_proof_cause(pk, completed) for pk, completed in done.items() if completed is not None}
    true &= {*asked["job"], *asked["proof"]}
    return true | {cause for cause in asked["repair"] if done.get(_id(cause), date.max) is None}


def waiting(jobs: "QuerySet[Job]") -> "QuerySet[Any]":
    """Those of these jobs that nobody has answered in any way, each with its living `link` and when it was `made`."""
    live = JobLink.objects.filter(job=OuterRef("pk"), dead_at=None).order_by("-pk")
    under_way = JobItem.objects.filter(job=OuterRef("pk")).exclude(ended_at=None, defect__completed=None)
    silent = jobs.filter(~Exists(under_way), closed_at=None, answer=None, proposed=None)
    return silent.annotate(link=live.values("pk")[:1], made=live.values("made_at")[:1])


def _unanswered(agency_id: int, day: date) -> Iterable[Concern]:
    jobs = waiting(Job.objects.filter(agency=agency_id)).annotate(home=Min("items__defect__unit"))
    rows = list(jobs.order_by("pk").values_list("pk", "link", "made", "sent_at", "home"))
    nations = defaultdict(set)
    places = JobItem.objects.filter(job__in=[pk for pk, *_ in rows]).order_by()
    for job, nation in places.values_list("job", "defect__unit__building__nation").distinct():
        nations[job].add(nation)
    for pk, link, made, sent_at, home in rows:
        due = _answer_due(made or sent_at, nations[pk])
        if milestone := since(due, day, UNANSWERED_STEPS):
            yield Concern(_job_cause(pk, link), UNANSWERED, milestone, home, None, due)


def _answer_due(sent_at: datetime, nations: Iterable[str | None]) -> date:
    """The day by which an answer is expected: with homes of several nations, the first of theirs."""
    off = {
        nation: pack.bank_holidays for pack in load().packs if pack.bank_holidays for nation in pack.nations
    }
    sent = moment_of(sent_at).day
    holidays = (off[nation].days if nation in off else frozenset() for nation in nations)
    return min(working_days_after(sent, ANSWER_WORKING_DAYS, days) for days in holidays)


def _to_confirm(agency_id: int, day: date) -> Iterable[Concern]:
    done = Defect.objects.filter(unit__agency=agency_id, confirmed=None, completed__isnull=False)
    for pk, completed, unit, landlord in done.order_by("completed", "pk").values_list(
        "pk", "completed", "unit", "unit__landlord"
    ):
        if completed is not None and (milestone := since(completed, day, CONFIRM_STEPS)):
            yield Concern(_proof_cause(pk, completed), CONFIRM, milestone, unit, landlord, None)


def _needed(agency_id: int, day: date) -> Iterable[Concern]:
    """Repairs that are wanted of a landlord. A danger is not among them until it is made safe: it is told daily."""
    wanted = Defect.objects.filter(
        unit__agency=agency_id, unit__landlord__isnull=False, confirmed=None, completed=None
    )
    said = urgencies(wanted)
    for pk, made_safe, unit, landlord in wanted.order_by("pk").values_list(
        "pk", "made_safe", "unit", "unit__landlord"
    ):
        urgency = said.get(pk)
        if urgency is None or urgency.due is None or urgency.band > LEAST_BAND:
            continue
        milestone = owed(urgency.due, day, NEEDED_BEFORE, NEEDED_AFTER)
        if milestone and (urgency.band > 0 or made_safe is not None):
            cause = f"repair:{pk}:{urgency.due}"
            yield Concern(cause, NEEDED, milestone, unit, landlord, urgency.due)


def _job_cause(pk: int, link: int | None) -> str:
    return f"job:{pk}:{link or 0}"


def _proof_cause(pk: int, completed: date) -> str:
    return f"proof:{pk}:{completed}"


def _id(cause: str) -> int:
    return int(cause.split(":")[1])


def _ids(concerns: Iterable[Concern], *kinds: str) -> list[int]:
    return [_id(one.cause) for one in concerns if one.kind in kinds]


def _defects(ids: list[int]) -> dict[int, Defect]:
    return Defect.objects.select_related("unit__building", "completed_for").in_bulk(ids) if ids else {}


def _jobs(ids: list[int]) -> dict[int, tuple[Job, list[Unit]]]:
    """Jobs with the homes they are about."""
    if not ids:
        return {}
    homes: dict[int, dict[int, Unit]] = defaultdict(dict)
    for item in JobItem.objects.filter(job__in=ids).select_related("defect__unit__building").order_by("pk"):
        homes[item.job_id][item.defect.unit_id] = item.defect.unit
    jobs = Job.objects.select_related("contractor").in_bulk(ids)
    return {pk: (job, list(homes[pk].values())) for pk, job in jobs.items()}


def _barred(ids: list[int]) -> dict[int, list[str]]:
    """Names of the inspectors with a hand in each of these repairs, who may not confirm it."""
    if not ids:
        return {}
    hands = hands_of(ids)
    people = {person for those, _ in hands.values() for person in those}
    ours = Q(role="inspector", is_active=True, pk__in=people)
    names = {user.pk: str(user) for user in User.objects.filter(ours)}
    return {
        pk: sorted(names[person] for person in those if person in names) for pk, (those, _) in hands.items()
    }


def _firms(ids: list[int]) -> dict[int, str]:
    """Who has each of these repairs in hand at present, by name."""
    if not ids:
        return {}
    live = JobItem.objects.filter(defect__in=ids, ended_at=None)
    return dict(live.values_list("defect", "job__contractor__name"))


def _line_of_job(job: Job, homes: list[Unit]) -> Line:
    firm = job.contractor
    reach = firm.phone or firm.email
    sent, read = moment_of(job.sent_at).day, "not answered" if job.seen_at else "not even read"
    says = f"Ask {firm} ({reach}) about {job}: sent {sent:%-d %B}, {read}"
    more = f" and {len(homes) - 1} more" if len(homes) > 1 else ""
    return Line(says, f"{homes[0]}{more}", None, True, address("job", job.pk))


def _line_to_confirm(defect: Defect, barred: list[str]) -> Line:
    by = f" by {defect.completed_for}" if defect.completed_for else ""
    says = f"Look at it and confirm: {_title(defect)}, said to be done{by} on {defect.completed:%-d %B}"
    if barred:
        says += f" (not {' or '.join(barred)}, who had a hand in it)"
    return Line(says, str(defect.unit), None, False, address("defect", defect.pk))


def _line_needed(defect: Defect, due: date | None, firm: str, day: date) -> Line:
    says = f"Have it put right and add proof: {_title(defect)}"
    if firm:
        says += f", with {firm}"
    late = due is not None and due < day
    return Line(says, str(defect.unit), due, late, address("defect", defect.pk))


def _title(defect: Defect) -> str:
    return defect.title or str(defect.get_code_display())
