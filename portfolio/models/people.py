"""Agencies, the people who log in, and landlords."""

from typing import Any

from django.contrib.auth.models import AbstractUser, BaseUserManager
from django.db import models

from portfolio import words
from portfolio.models.base import Owned, history, one_of


class Agency(models.Model):
    name = models.CharField(max_length=200)
    history = history()

    def __str__(self) -> str:
        return self.name


class Landlord(Owned):
    landlord_path = "pk"

    agency = models.ForeignKey(Agency, on_delete=models.PROTECT, related_name="landlords")
    ref = models.CharField(max_length=100)
    name = models.CharField(max_length=200)
    email = models.EmailField(blank=True)
    phone = models.CharField(max_length=40, blank=True)
    history = history()

    class Meta(Owned.Meta):
        constraints = [models.UniqueConstraint(fields=["agency", "ref"], name="landlord_ref_once")]

    def __str__(self) -> str:
        return self.name


class UserManager(BaseUserManager["User"]):
    def create_user(self, email: str, password: str | None = None, **fields: Any) -> "User":
        user = self.model(email=self.normalize_email(email).lower(), **fields)
        user.set_password(password)
        user.full_clean(exclude=["password"])
        user.save()
        return user


class User(AbstractUser):
    """A person who logs in with an e-mail address. Contractors and readers of packs have no account."""

    username = None  # type: ignore[assignment]
    email = models.EmailField("e-mail", unique=True)
    name = models.CharField(max_length=150)
    agency = models.ForeignKey(Agency, on_delete=models.PROTECT, related_name="users")
    role = models.CharField(max_length=20, choices=words.choices(words.ROLE))
    landlord = models.ForeignKey(
        Landlord,
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="users",
        help_text="For a landlord's log-in: whose homes.",
    )
    history = history(without=["password"])
    """That a password was changed is on record; the hashes of old ones are no business of ours."""

    USERNAME_FIELD = "email"
    REQUIRED_FIELDS = []
    objects = UserManager()  # type: ignore[misc,assignment]

    class Meta:
        constraints = [
            one_of("role", words.ROLE, model="user"),
            models.CheckConstraint(
                condition=models.Q(role="landlord", landlord__isnull=False)
                | (~models.Q(role="landlord") & models.Q(landlord__isnull=True)),
                name="user_landlord_says_whose_homes",
                violation_error_message="A landlord's log-in names its landlord; no other log-in does.",
            ),
        ]

    def __str__(self) -> str:
        return self.name or self.email
