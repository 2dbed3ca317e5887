"""Spreadsheets on their way in: the file, how far it has come, and what each row would do."""

from django.db import models

from portfolio.models.base import Owned, one_of
from portfolio.models.papers import Document
from portfolio.models.people import Agency, User

STATE = {
    "reading": "Being read",
    "unreadable": "Cannot be read",
    "ready": "Waiting for you",
    "taking": "Being taken in",
    "taken": "Taken in",
    "left": "Left aside",
}
ROW_STATE = {
    "new": "New home",
    "changed": "Changes a home",
    "same": "Already on record",
    "duplicate": "Repeats a row",
    "refused": "Has faults",
}


class SheetImport(Owned):
    """One uploaded spreadsheet. Nothing of it is on record until its state is "taken"."""

    landlord_path = "document__certificates__unit__landlord"
    """A landlord never sees one: such files belong to no certificate."""

    agency = models.ForeignKey(Agency, on_delete=models.PROTECT, related_name="sheet_imports")
    document = models.ForeignKey(Document, on_delete=models.PROTECT, related_name="sheet_imports")
    name = models.CharField("name of the file", max_length=200)
    uploaded_by = models.ForeignKey(User, on_delete=models.PROTECT, related_name="+")
    uploaded_at = models.DateTimeField()
    state = models.CharField(max_length=20, choices=list(STATE.items()), default="reading")
    says = models.TextField("what there is to say of it", blank=True)
    done = models.PositiveIntegerField("rows read so far", default=0)
    total = models.PositiveIntegerField("rows to read", default=0)
    moved_at = models.DateTimeField("last sign of work")
    sheet = models.JSONField("title, headings used and not used, rows passed over", default=dict)
    taken_by = models.ForeignKey(User, on_delete=models.PROTECT, null=True, related_name="+")
    taken_at = models.DateTimeField(null=True)

    class Meta(Owned.Meta):
        ordering = ["-pk"]
        constraints = [one_of("state", STATE, model="sheet_import")]

    def __str__(self) -> str:
        return self.name


class SheetRow(Owned):
    """What one row would do, as last compared with the record."""

    agency_path = "sheet_import__agency"
    landlord_path = "sheet_import__document__certificates__unit__landlord"

    sheet_import = models.ForeignKey(SheetImport, on_delete=models.CASCADE, related_name="rows")
    number = models.PositiveIntegerField("number in the sheet")
    where = models.CharField("its first filled cell", max_length=60)
    state = models.CharField(max_length=20, choices=list(ROW_STATE.items()))
    ref = models.CharField(max_length=100, blank=True)
    title = models.CharField(max_length=500, blank=True)
    changes = models.JSONField(default=list)
    faults = models.JSONField(default=list)
    notes = models.JSONField(default=list)
    cells = models.JSONField("as they stood", default=list)

    class Meta(Owned.Meta):
        ordering = ["sheet_import", "number"]
        constraints = [
            models.UniqueConstraint(fields=["sheet_import", "number"], name="sheet_row_once"),
            one_of("state", ROW_STATE, model="sheet_row"),
        ]
        indexes = [models.Index(fields=["sheet_import", "state", "number"], name="sheet_row_by_state")]

    def __str__(self) -> str:
        return f"{self.sheet_import} row {self.number}"
