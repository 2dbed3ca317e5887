"""Evidence: a file or a statement about a defect, and who brought it."""

from django.db import models
from django.db.models import Q

from inspections import words
from inspections.models.defects import Defect
from inspections.models.people import Contractor
from portfolio.models import Document, User
from portfolio.models.base import Owned, history, one_of
from portfolio.words import CERTIFICATE, choices


class Evidence(Owned):
    """`paper` says that the file is a certificate of that kind; it becomes one of the home's when confirmed."""

    agency_path = "defect__unit__agency"
    landlord_path = "defect__unit__landlord"

    defect = models.ForeignKey(Defect, on_delete=models.PROTECT, related_name="evidence")
    key = models.UUIDField("made by whoever sends it, so that twice is once", unique=True)
    stage = models.CharField(max_length=20, choices=choices(words.STAGE))
    document = models.ForeignKey(
        Document, on_delete=models.PROTECT, related_name="evidence", null=True, blank=True
    )
    says = models.TextField("statement or caption", blank=True)
    paper = models.CharField(max_length=40, choices=choices(CERTIFICATE), null=True, blank=True)
    number = models.CharField("number on the paper", max_length=100, blank=True)
    dated = models.DateField("day on the paper", null=True, blank=True)
    added_at = models.DateTimeField()
    added_by = models.ForeignKey(User, on_delete=models.PROTECT, related_name="+", null=True, blank=True)
    contractor = models.ForeignKey(
        Contractor, on_delete=models.PROTECT, related_name="evidence", null=True, blank=True
    )
    withdrawn_at = models.DateTimeField("no longer relied on since", null=True, blank=True)
    withdrawn_why = models.TextField(blank=True)
    history = history()

    class Meta(Owned.Meta):
        verbose_name_plural = "evidence"
        constraints = [
            one_of("stage", words.STAGE, model="evidence"),
            one_of("paper", CERTIFICATE, model="evidence"),
            models.CheckConstraint(
                condition=Q(document__isnull=False) | ~Q(says=""),
                name="evidence_shows_or_says",
                violation_error_message="Add a file or say something.",
            ),
            models.CheckConstraint(
                condition=Q(added_by__isnull=False) ^ Q(contractor__isnull=False),
                name="evidence_from_somebody",
            ),
        ]

    def __str__(self) -> str:
        return str(self.document or self.says[:60])
