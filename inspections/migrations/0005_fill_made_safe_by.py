from typing import Any

from django.db import migrations


def fill(apps: Any, schema_editor: Any) -> None:
    """Who recorded it stands in the record of each time that a defect was made safe; a later time counts over it."""
    known = [apps.get_model("inspections", name) for name in ("Defect", "HistoricalDefect")]
    lines = (
        apps.get_model("portfolio", "Event").objects.filter(verb="defect.made_safe").order_by("agency", "seq")
    )
    for subject, at, actor, data in lines.values_list("subject", "at", "actor", "data").iterator():
        since = {"history_date__gte": at}
        for model, which in zip(known, ({}, since), strict=True):
            rows = model.objects.filter(id=int(subject.partition(":")[2]), made_safe__isnull=False, **which)
            rows.update(made_safe_by=actor, made_safe_for=data.get("contractor"))


class Migration(migrations.Migration):
    """On its own, as PostgreSQL does not change a table whose rows the same transaction has changed."""

    dependencies = [("inspections", "0004_made_safe_by")]

    operations = [migrations.RunPython(fill, migrations.RunPython.noop)]
