"""Who mends and who confirms: contractors with their registrations, and the competence of our own people."""

from django.db import models

from inspections import words
from portfolio.models import Agency, User
from portfolio.models.base import Owned, history, one_of
from portfolio.words import SCHEME, choices


class Contractor(Owned):
    """A firm that gets defects by e-mail and answers by a link; it has no log-in."""

    landlord_path = "agency__landlords"

    agency = models.ForeignKey(Agency, on_delete=models.PROTECT, related_name="contractors")
    name = models.CharField(max_length=200)
    email = models.EmailField("e-mail")
    phone = models.CharField(max_length=40, blank=True)
    trades = models.JSONField("what it does, codes of words.TRADE", default=list)
    people = models.ManyToManyField(
        User,
        related_name="contractors",
        blank=True,
        verbose_name="our people who work for it or are paid by it",
    )
    ended = models.DateField("no longer used since", null=True, blank=True)
    history = history()

    class Meta(Owned.Meta):
        constraints = [models.UniqueConstraint(fields=["agency", "name"], name="contractor_name_once")]

    def __str__(self) -> str:
        return self.name


class Registration(Owned):
    """What a contractor is registered for, and its last good day. A day not recorded proves nothing."""

    agency_path = "contractor__agency"
    landlord_path = "contractor__agency__landlords"

    contractor = models.ForeignKey(Contractor, on_delete=models.PROTECT, related_name="registrations")
    kind = models.CharField(max_length=20, choices=choices(words.REGISTRATION))
    number = models.CharField(max_length=100, blank=True)
    until = models.DateField("last good day", null=True, blank=True)
    checked_on = models.DateField("checked in the register on", null=True, blank=True)
    withdrawn = models.DateField("no longer counts since", null=True, blank=True)
    history = history()

    class Meta(Owned.Meta):
        constraints = [one_of("kind", words.REGISTRATION, model="registration")]

    def __str__(self) -> str:
        return f"{self.get_kind_display()} {self.number}".strip()


class Competence(Owned):
    """That one of our people may judge work of a scheme, and by what."""

    agency_path = "user__agency"
    landlord_path = "user__agency__landlords"

    user = models.ForeignKey(User, on_delete=models.PROTECT, related_name="competences")
    scheme = models.CharField(max_length=20, choices=choices(SCHEME))
    by = models.CharField("qualification or registration", max_length=200)
    until = models.DateField("last good day; none: it has no end", null=True, blank=True)
    withdrawn = models.DateField("no longer counts since", null=True, blank=True)
    history = history()

    class Meta(Owned.Meta):
        constraints = [one_of("scheme", SCHEME, model="competence")]

    def __str__(self) -> str:
        return f"{self.user}: {self.get_scheme_display()}"
