"""Days that contractors proposed for jobs that are not closed, each with its hours."""

from collections import defaultdict
from datetime import date, datetime
from typing import Any

from django.db.models import Count, Max, QuerySet
from django.urls import reverse

from inspections.models import Job, JobItem
from inspections.selectors.job_parts import address_of
from inspections.services.job_calendar import hours_of, uid
from notifications.feed.shape import JOB, Asked, Change, Entry, page, uid_of
from portfolio import access
from portfolio.models import Unit


def many(asked: Asked) -> int:
    return _items(asked).aggregate(n=Count("job", distinct=True))["n"] or 0


def each(asked: Asked) -> list[Entry]:
    """An entry for each job: a landlord's tells of that landlord's homes alone."""
    by_job: dict[Job, list[Unit]] = defaultdict(list)
    parts = ("job__contractor", "defect__unit__building")
    for item in _items(asked).select_related(*parts).order_by("job__proposed", "job", "defect__unit", "pk"):
        by_job[item.job].append(item.defect.unit)
    changes = asked.changes({unit.pk for units in by_job.values() for unit in units})
    touched = _touched(by_job)
    return [
        _entry(asked, job, units, max(touched.get(job.pk, job.sent_at), *(changes[u.pk].at for u in units)))
        for job, units in by_job.items()
    ]


def by_day(asked: Asked) -> list[Entry]:
    last = asked.last_change()
    days = _items(asked).order_by("job__proposed").values_list("job__proposed")
    return [_together(asked, day, n, last) for day, n in days.annotate(n=Count("job", distinct=True))]


def _items(asked: Asked) -> "QuerySet[JobItem]":
    mine = JobItem.objects.visible_to(asked.feed.user).filter(ended_at=None, job__closed_at=None)
    return mine.filter(job__proposed__gte=asked.first, job__proposed__lte=asked.last)


def _touched(jobs: Any) -> dict[int, datetime]:
    """When each of these jobs was changed last."""
    history = Job.history.filter(id__in=[job.pk for job in jobs]).order_by()
    return dict(history.values_list("id").annotate(at=Max("history_date")))


def _entry(asked: Asked, job: Job, units: list[Unit], changed: datetime) -> Entry:
    assert job.proposed is not None
    homes = list(dict.fromkeys(units))
    defects = f"{len(units)} defect{'' if len(units) == 1 else 's'}"
    where = str(homes[0]) if len(homes) == 1 else f"{len(homes)} homes"
    url = page(_page_of(asked, job, homes))
    lines = [*map(str, homes), "See that the contractor can get in.", url]
    return Entry(
        JOB,
        uid(job),
        job.proposed,
        f"{job}: {job.contractor} comes, {defects}, {where}",
        "\n".join(lines),
        url,
        changed,
        job.sequence,
        "; ".join(map(address_of, homes)),
        hours_of(job),
    )


def _page_of(asked: Asked, job: Job, homes: list[Unit]) -> str:
    if access.may(asked.feed.user, "see_jobs"):
        return reverse("job", args=[job.pk])
    return reverse("defects", args=[homes[0].pk]) if len(homes) == 1 else reverse("open_defects")


def _together(asked: Asked, day: date, n: int, last: Change) -> Entry:
    url = page(reverse("jobs" if access.may(asked.feed.user, "see_jobs") else "open_defects"))
    says = f"{n} job{'' if n == 1 else 's'} on this day"
    return Entry(JOB, uid_of(JOB, "day", day, asked.feed.user_id), day, says, url, url, last.at, last.seq)
