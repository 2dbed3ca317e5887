"""Whether what a message says of a defect or a job still holds when its turn to be sent comes."""

import re
from typing import Protocol

from inspections.models import Defect, Job, JobLink

_JOB = re.compile(r"job:(?P<job>\d+):(?P<what>sent|day):(?P<number>\d+)")
_DANGER = re.compile(r"danger:(?P<defect>\d+):")


class Keyed(Protocol):
    """The part of a message that is asked here."""

    @property
    def key(self) -> str: ...


def job_gone(message: Keyed) -> str:
    """A job is not sent once it is closed or its link is dead, nor a day that is no longer the one proposed."""
    said = _JOB.match(message.key)
    if said is None:
        return ""  # that a job is declined or taken back is told because it is closed
    job = Job.objects.get(pk=said["job"])
    if job.closed_at is not None:
        return f"{job} was closed before this was sent."
    if said["what"] == "day":
        return "" if job.sequence == int(said["number"]) else f"Another day was proposed for {job} since."
    link = JobLink.objects.get(pk=said["number"])
    return "" if link.dead_at is None else f"{job} has a new link, so this one is dead."


def danger_gone(message: Keyed) -> str:
    said = _DANGER.match(message.key)
    if said is None or Defect.objects.get(pk=said["defect"]).confirmed is None:
        return ""
    return "The danger was confirmed as put right before this was sent."
