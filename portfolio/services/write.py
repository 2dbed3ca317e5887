"""How services write: locked, checked, with history that names who and when."""

from collections.abc import Iterable, Sequence
from typing import Any

from django.core.exceptions import ValidationError
from django.db import models
from simple_history.utils import bulk_create_with_history

from portfolio.clock import Moment
from portfolio.models import Building, Unit


def locked_buildings(**which: Any) -> list[Building]:
    """Buildings under a row lock, taken before their units' locks: no home can join or leave one meanwhile."""
    return list(Building.objects.select_for_update(of=("self",)).filter(**which).order_by("pk"))


def locked_units(unit_ids: Iterable[int]) -> list[Unit]:
    """The units under a row lock held to the end of the transaction, always taken in the same order.

    Every service that changes what the gate looks at takes this lock first: it is what makes a mark and a
    change to its grounds happen one after the other.
    """
    return list(Unit.objects.select_for_update(of=("self",)).filter(pk__in=list(unit_ids)).order_by("pk"))


def locked_unit(unit_id: int) -> Unit:
    """One unit under its lock. Raises Unit.DoesNotExist."""
    return Unit.objects.select_for_update(of=("self",)).get(pk=unit_id)


def save(record: models.Model, *, actor: Any, moment: Moment) -> None:
    """Check and save one record; its history line says who and when. Raises ValidationError."""
    record.full_clean()
    record._history_user = actor  # type: ignore[attr-defined]
    record._history_date = moment.at  # type: ignore[attr-defined]
    record.save()


def create_all(model: type[models.Model], records: Sequence[Any], *, actor: Any, moment: Moment) -> list[Any]:
    """Create many records with their history lines. Raises ValidationError naming the first bad one."""
    for record in records:
        try:
            record.clean_fields(exclude=[f.name for f in model._meta.fields if f.is_relation])
            record.clean()
        except ValidationError as bad:
            raise ValidationError(f"{model._meta.verbose_name} {record}: {'; '.join(bad.messages)}") from bad
    return bulk_create_with_history(
        records, model, batch_size=400, default_user=actor, default_date=moment.at
    )
