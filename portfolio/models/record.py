"""The append-only record: events, stored standings, clearances."""

from django.db import models

from portfolio import words
from portfolio.models.base import Owned, one_of
from portfolio.models.homes import PartOfUnit, Unit
from portfolio.models.people import Agency, User


class Event(Owned):
    """Who did what and when. Chained per agency: each line's hash covers the line before it."""

    landlord_path = "unit__landlord"

    agency = models.ForeignKey(Agency, on_delete=models.PROTECT, related_name="events")
    seq = models.PositiveBigIntegerField("place in the agency's chain")
    at = models.DateTimeField()
    actor = models.ForeignKey(User, null=True, on_delete=models.PROTECT, related_name="+")
    verb = models.CharField(max_length=60)
    unit = models.ForeignKey(Unit, null=True, on_delete=models.PROTECT, related_name="events")
    subject = models.CharField("what it happened to", max_length=120)
    says = models.TextField()
    data = models.JSONField()
    previous_hash = models.CharField(max_length=64)
    hash = models.CharField(max_length=64)

    class Meta(Owned.Meta):
        ordering = ["agency", "seq"]
        constraints = [models.UniqueConstraint(fields=["agency", "seq"], name="event_seq_once")]
        indexes = [models.Index(fields=["unit", "-seq"], name="event_of_unit")]

    def __str__(self) -> str:
        return f"{self.seq} {self.verb}"


class StoredStanding(PartOfUnit):
    """The answer of `law.evaluate` for a home, good from `on` up to the day before `changes_on`."""

    ref = None  # type: ignore[assignment]
    unit = models.OneToOneField(Unit, on_delete=models.PROTECT, related_name="standing")
    on = models.DateField("asked on")
    let_clear = models.BooleanField()
    let_until = models.DateField(null=True)
    let_first = models.TextField("first reason against a let", blank=True)
    sale_clear = models.BooleanField()
    sale_until = models.DateField(null=True)
    sale_first = models.TextField("first reason against a sale", blank=True)
    changes_on = models.DateField(null=True, db_index=True)
    answer = models.JSONField("the whole answer, as in the portfolio format")
    packs = models.JSONField("law pack versions")
    law = models.CharField("every pack held when it was asked", max_length=300)
    danger = models.BooleanField("a danger is on record that no defect speaks of", default=False)

    class Meta(PartOfUnit.Meta):
        indexes = [
            models.Index(fields=["let_clear", "let_until"], name="standing_let"),
            models.Index(fields=["sale_clear", "sale_until"], name="standing_sale"),
            models.Index(fields=["unit"], condition=models.Q(danger=True), name="standing_danger"),
        ]

    def __str__(self) -> str:
        return f"{self.unit_id} on {self.on}"


class Due(PartOfUnit):
    """A day to come out of a stored standing: the last good day of a paper, or of a duty not done yet."""

    ref = None  # type: ignore[assignment]
    unit = models.ForeignKey(Unit, on_delete=models.PROTECT, related_name="dues")
    is_duty = models.BooleanField()
    code = models.CharField("requirement or duty", max_length=80)
    due = models.DateField("last good day; none: owed, and nobody can say by when", null=True)
    party = models.CharField(max_length=20, blank=True)
    of = models.CharField("ref of what it is about", max_length=100, blank=True)

    class Meta(PartOfUnit.Meta):
        indexes = [models.Index(fields=["is_duty", "due"], name="due_by_day")]

    def __str__(self) -> str:
        return f"{self.code} {self.due}"


class HousePolicy(Owned):
    """What an agency asks beyond the law. Never changed, only followed by the next one.

    The newest with `in_force_at` is in force; one without is still being put into force.
    """

    landlord_path = "agency__landlords"

    agency = models.ForeignKey(Agency, on_delete=models.PROTECT, related_name="policies")
    settings = models.JSONField("what it asks, as law.policy.Policy.as_dict")
    why = models.TextField("reason for the change")
    asked_at = models.DateTimeField()
    asked_by = models.ForeignKey(User, null=True, on_delete=models.PROTECT, related_name="+")
    in_force_at = models.DateTimeField(null=True)

    class Meta(Owned.Meta):
        verbose_name_plural = "house policies"

    def __str__(self) -> str:
        return f"House policy of {self.agency}, {self.asked_at:%Y-%m-%d}"


class Clearance(PartOfUnit):
    """The record that a home was marked lettable or saleable, on what grounds, and when that ended."""

    ref = None  # type: ignore[assignment]
    unit = models.ForeignKey(Unit, on_delete=models.PROTECT, related_name="clearances")
    purpose = models.CharField(max_length=10, choices=words.choices(words.PURPOSE))
    marked_at = models.DateTimeField()
    marked_on = models.DateField()
    marked_by = models.ForeignKey(User, on_delete=models.PROTECT, related_name="+")
    until = models.DateField("last day it can hold on these grounds", null=True)
    facts = models.JSONField("the facts it rests on, a portfolio/1 file of this home")
    answer = models.JSONField("the verdicts it rests on")
    packs = models.JSONField("law pack versions")
    policy = models.JSONField("the house policy it rests on", default=dict)
    withdrawn_at = models.DateTimeField(null=True)
    withdrawn_on = models.DateField(null=True)
    withdrawn_by = models.ForeignKey(User, null=True, on_delete=models.PROTECT, related_name="+")
    withdrawn_why = models.TextField(blank=True)

    class Meta(PartOfUnit.Meta):
        constraints = [
            models.UniqueConstraint(
                fields=["unit", "purpose"],
                condition=models.Q(withdrawn_at__isnull=True),
                name="one_live_clearance",
            ),
            models.CheckConstraint(
                condition=models.Q(withdrawn_at__isnull=True, withdrawn_on__isnull=True, withdrawn_why="")
                | (
                    models.Q(withdrawn_at__isnull=False, withdrawn_on__isnull=False)
                    & ~models.Q(withdrawn_why="")
                ),
                name="withdrawal_says_when_and_why",
            ),
            one_of("purpose", words.PURPOSE, model="clearance"),
        ]

    def __str__(self) -> str:
        return f"{self.get_purpose_display()} {self.marked_on}"
