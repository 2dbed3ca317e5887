"""What an import's page shows."""

from django.db.models import Count, QuerySet

from portfolio.models import SheetImport, SheetRow
from portfolio.models.imports import ROW_STATE

TALLY = {
    "new": "new",
    "changed": "changed",
    "same": "already on record",
    "duplicate": "repeating a row",
    "refused": "with faults",
}
"""What stands under a number of rows, one or many."""


def counts(found: SheetImport) -> list[tuple[str, str, int]]:
    """(state, its words, how many rows) for every state a row can have."""
    rows = found.rows.order_by().values_list("state").annotate(n=Count("pk"))
    number = dict(rows)
    return [(state, TALLY[state], number.get(state, 0)) for state in ROW_STATE]


def shown_rows(found: SheetImport, state: str) -> QuerySet[SheetRow]:
    """The rows in one state, or all, in the order of the sheet."""
    rows = SheetRow.objects.filter(sheet_import=found).order_by("number")
    return rows.filter(state=state) if state else rows
