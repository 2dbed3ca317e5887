"""A visit: somebody walks through a home, and what was looked at is on record even where nothing was found."""

from django.db import models

from inspections import words
from portfolio.models import Room, Unit, User
from portfolio.models.base import Owned, history, one_of
from portfolio.models.homes import PartOfUnit
from portfolio.words import choices


class Visit(PartOfUnit):
    """Known by the id its first phone made, so that sending it twice makes one visit."""

    ref = None  # type: ignore[assignment]
    unit = models.ForeignKey(Unit, on_delete=models.PROTECT, related_name="visits")
    key = models.UUIDField(unique=True)
    on = models.DateField("day of the visit")
    begun_at = models.DateTimeField()
    begun_by = models.ForeignKey(User, on_delete=models.PROTECT, related_name="+")
    ended_at = models.DateTimeField(null=True, blank=True)
    ended_by = models.ForeignKey(User, on_delete=models.PROTECT, related_name="+", null=True, blank=True)
    says = models.TextField("what else is to be said", blank=True)
    history = history()

    def __str__(self) -> str:
        return f"Visit of {self.on}"


class Look(Owned):
    """What a visit says of one room: nothing found in it, or why it could not be seen (a limitation)."""

    agency_path = "visit__unit__agency"
    landlord_path = "visit__unit__landlord"

    visit = models.ForeignKey(Visit, on_delete=models.PROTECT, related_name="looks")
    key = models.UUIDField(unique=True)
    room = models.ForeignKey(Room, on_delete=models.PROTECT, related_name="looks", null=True, blank=True)
    what = models.CharField(max_length=20, choices=choices(words.LOOK))
    says = models.CharField("what was not seen, and why", max_length=300, blank=True)
    at = models.DateTimeField()
    by = models.ForeignKey(User, on_delete=models.PROTECT, related_name="+")
    history = history()

    class Meta(Owned.Meta):
        constraints = [
            one_of("what", words.LOOK, model="look"),
            models.CheckConstraint(
                condition=~models.Q(what="not_seen", says=""),
                name="look_not_seen_says_why",
                violation_error_message="Say what could not be seen, and why.",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.get_what_display()}: {self.room or 'home'}"
