"""A defect: something wrong in a home, classed by whoever saw it."""

from django.db import models
from django.db.models import F, Q

from inspections import words as own
from inspections.models.people import Contractor
from inspections.models.visits import Visit
from portfolio import words
from portfolio.law import model as law
from portfolio.models import Certificate, Room, Unit, User
from portfolio.models.base import history, in_order, one_of
from portfolio.models.homes import PartOfUnit


class Defect(PartOfUnit):
    """The inspector's code is the fact. `confirmed` is the only day that lifts a danger."""

    unit = models.ForeignKey(Unit, on_delete=models.PROTECT, related_name="defects")
    scheme = models.CharField(max_length=20, choices=words.choices(words.SCHEME))
    code = models.CharField(max_length=20, choices=words.choices(words.CODE))
    title = models.CharField("what is wrong", max_length=300, null=True, blank=True)
    room = models.ForeignKey(Room, on_delete=models.PROTECT, related_name="defects", null=True, blank=True)
    certificate = models.ForeignKey(
        Certificate, on_delete=models.PROTECT, related_name="defects", null=True, blank=True
    )
    key = models.UUIDField(
        "made by the phone, so that sent twice is once", null=True, blank=True, unique=True
    )
    visit = models.ForeignKey(Visit, on_delete=models.PROTECT, related_name="defects", null=True, blank=True)
    typical = models.CharField("id in the catalogue of typical defects", max_length=40, blank=True)
    place = models.CharField("accessory, circuit, exact place", max_length=200, blank=True)
    note = models.TextField("what else the finder says", blank=True)
    trade = models.CharField(max_length=20, choices=words.choices(own.TRADE), null=True, blank=True)
    suspected = models.BooleanField("seen by somebody of another trade", default=False)
    said_by = models.CharField("gas engineer who classed it, with registration", max_length=200, blank=True)
    found = models.DateField(null=True, blank=True)
    made_safe = models.DateField("made safe for now", null=True, blank=True)
    made_safe_how = models.TextField("what was done to make it safe for now", blank=True)
    made_safe_by = models.ForeignKey(User, on_delete=models.PROTECT, related_name="+", null=True, blank=True)
    made_safe_for = models.ForeignKey(
        Contractor,
        on_delete=models.PROTECT,
        related_name="+",
        null=True,
        blank=True,
        verbose_name="the contractor who says it is made safe",
    )
    completed = models.DateField("work done", null=True, blank=True)
    work = models.CharField("kind of work done, a code of inspections.paperwork", max_length=40, blank=True)
    no_paper_why = models.TextField("why no paper came back", blank=True)
    sent_back_why = models.TextField("why the proof was sent back last", blank=True)
    confirmed = models.DateField("confirmed by a second person", null=True, blank=True)
    recorded_by = models.ForeignKey(User, on_delete=models.PROTECT, related_name="+", null=True, blank=True)
    completed_by = models.ForeignKey(User, on_delete=models.PROTECT, related_name="+", null=True, blank=True)
    completed_for = models.ForeignKey(
        Contractor,
        on_delete=models.PROTECT,
        related_name="+",
        null=True,
        blank=True,
        verbose_name="the contractor who says it is done, or did it",
    )
    confirmed_by = models.ForeignKey(User, on_delete=models.PROTECT, related_name="+", null=True, blank=True)
    history = history()

    class Meta(PartOfUnit.Meta):
        constraints = [
            models.UniqueConstraint(fields=["unit", "ref"], name="defect_ref_once"),
            one_of("scheme", words.SCHEME, model="defect"),
            one_of("trade", own.TRADE, model="defect"),
            models.CheckConstraint(
                condition=Q(*(Q(scheme=s, code__in=list(c)) for s, c in law.CODES.items()), _connector=Q.OR),
                name="defect_code_belongs_to_scheme",
                violation_error_message="This code does not belong to this scheme.",
            ),
            in_order("found", "confirmed", model="defect"),
            models.CheckConstraint(
                condition=Q(confirmed_by__isnull=True)
                | Q(completed_by__isnull=True)
                | ~Q(confirmed_by=F("completed_by")),
                name="defect_confirmed_by_another",
                violation_error_message="Whoever did the work, or said it was done, cannot confirm it.",
            ),
        ]
