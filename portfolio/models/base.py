"""What all our models share."""

from collections.abc import Iterable

from django.db import models
from simple_history.models import HistoricalRecords

from portfolio.access import OwnedQuerySet


class Owned(models.Model):
    """A record that belongs to one agency. Subclasses say by which path, and how a landlord owns it."""

    agency_path = "agency"
    landlord_path = "landlord"

    objects = OwnedQuerySet.as_manager()

    class Meta:
        abstract = True
        base_manager_name = "objects"


def history(*, without: Iterable[str] = ()) -> HistoricalRecords:
    """Every earlier state of a record, with who and when; `without` some fields."""
    return HistoricalRecords(excluded_fields=list(without))


def one_of(field: str, codes: Iterable[str], *, model: str) -> models.CheckConstraint:
    """The database itself refuses a code that the words do not know; null stays 'not recorded'."""
    return models.CheckConstraint(
        condition=models.Q(**{f"{field}__in": list(codes)}) | models.Q(**{f"{field}__isnull": True}),
        name=f"{model}_{field}_known",
        violation_error_message=f"{field} must be one of: {', '.join(codes)}.",
    )


def in_order(first: str, then: str, *, model: str) -> models.CheckConstraint:
    """`then` is not before `first`, where both are recorded."""
    return models.CheckConstraint(
        condition=models.Q(**{f"{then}__gte": models.F(first)})
        | models.Q(**{f"{first}__isnull": True})
        | models.Q(**{f"{then}__isnull": True}),
        name=f"{model}_{then}_not_before_{first}",
        violation_error_message=f"The day '{then}' lies before the day '{first}'.",
    )
