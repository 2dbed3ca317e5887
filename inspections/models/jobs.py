"""A job: defects sent to one contractor, and the link by which the contractor answers."""

from django.db import models
from django.db.models import Q

from inspections import words
from inspections.models.defects import Defect
from inspections.models.people import Contractor
from portfolio.models import Agency, User
from portfolio.models.base import Owned, history, one_of
from portfolio.words import choices


class Job(Owned):
    """Its state is read off the days below; each change is a line in the chain of events."""

    landlord_path = "items__defect__unit__landlord"

    agency = models.ForeignKey(Agency, on_delete=models.PROTECT, related_name="jobs")
    number = models.PositiveIntegerField("number within the agency")
    contractor = models.ForeignKey(Contractor, on_delete=models.PROTECT, related_name="jobs")
    access_notes = models.TextField("how to get in, whom to ring", blank=True)
    sent_at = models.DateTimeField()
    sent_by = models.ForeignKey(User, on_delete=models.PROTECT, related_name="+")
    seen_at = models.DateTimeField(null=True, blank=True)
    answer = models.CharField(max_length=20, choices=choices(words.ANSWER), null=True, blank=True)
    answered_at = models.DateTimeField(null=True, blank=True)
    declined_why = models.TextField(blank=True)
    proposed = models.DateField("day the contractor means to come", null=True, blank=True)
    proposed_from = models.TimeField("from", null=True, blank=True)
    proposed_to = models.TimeField("to", null=True, blank=True)
    sequence = models.PositiveIntegerField("how often its calendar entry was changed", default=0)
    closed_at = models.DateTimeField(null=True, blank=True)
    closed_why = models.TextField(blank=True)
    history = history()

    class Meta(Owned.Meta):
        constraints = [
            models.UniqueConstraint(fields=["agency", "number"], name="job_number_once"),
            one_of("answer", words.ANSWER, model="job"),
            models.CheckConstraint(
                condition=~Q(answer="declined", declined_why=""),
                name="job_declined_says_why",
                violation_error_message="Say why the job is declined.",
            ),
            models.CheckConstraint(
                condition=Q(closed_at__isnull=True, closed_why="")
                | (Q(closed_at__isnull=False) & ~Q(closed_why="")),
                name="job_closed_says_why",
            ),
        ]

    def __str__(self) -> str:
        return f"Job {self.number}"


class JobItem(Owned):
    """One defect in a job. A defect is in no more than one job at a time."""

    agency_path = "job__agency"
    landlord_path = "defect__unit__landlord"

    job = models.ForeignKey(Job, on_delete=models.PROTECT, related_name="items")
    defect = models.ForeignKey(Defect, on_delete=models.PROTECT, related_name="items")
    ended_at = models.DateTimeField("confirmed, declined or taken back", null=True, blank=True)
    history = history()

    class Meta(Owned.Meta):
        constraints = [
            models.UniqueConstraint(fields=["job", "defect"], name="defect_once_in_job"),
            models.UniqueConstraint(
                fields=["defect"],
                condition=Q(ended_at__isnull=True),
                name="defect_in_one_job",
                violation_error_message="This defect is with a contractor already.",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.job}: {self.defect}"


class JobLink(Owned):
    """A secret address of one job. Only its SHA-256 is kept; it is dead when the job closes or it is replaced."""

    agency_path = "job__agency"
    landlord_path = "job__agency__landlords"

    job = models.ForeignKey(Job, on_delete=models.PROTECT, related_name="links")
    token_sha256 = models.CharField(max_length=64, unique=True)
    made_at = models.DateTimeField()
    good_until = models.DateTimeField()
    dead_at = models.DateTimeField(null=True, blank=True)

    def __str__(self) -> str:
        return f"link of {self.job}"
