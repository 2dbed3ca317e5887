"""A spreadsheet's way in: kept, read and compared, shown, and only then taken in.

`reading` → `ready` or `unreadable`; `ready` → `taking` → `taken`, or back to `ready` when the record has
changed since the rows were shown; `ready` → `left`. Each step may be started twice: the second does nothing.
"""

import hashlib
import unicodedata
from collections.abc import Callable, Sequence
from contextlib import suppress
from dataclasses import asdict
from typing import Any

from django.conf import settings
from django.core.cache import cache
from django.core.exceptions import ValidationError
from django.db import IntegrityError, transaction
from django.db.models import Max, Q
from redis.exceptions import RedisError

from portfolio.clock import Moment
from portfolio.documents import Accepted, UploadRefused, open_bytes, store
from portfolio.exchange.sheets.plan import GOOD, Plan, RowPlan, as_written, plan
from portfolio.exchange.sheets.read import Unreadable
from portfolio.exchange.sheets.write import CSV_TYPE, XLSX_TYPE
from portfolio.models import Event, Landlord, SheetImport, SheetRow
from portfolio.services.events import Happening, Verb, record
from portfolio.services.take_in import Refused, take_in
from portfolio.services.write import save

CHANGED_MEANWHILE = (
    "Nothing was taken in: what is on record has changed since these rows were compared with it. They have been "
    "compared again; look at them once more."
)


class ChangedMeanwhile(Exception):
    """Somebody changed these homes between the comparison and the taking in."""


BLANK = {"done": 0, "total": 0, "says": ""}


def upload(file: Any, *, actor: Any, moment: Moment) -> SheetImport:
    """Keep an uploaded file (anything with `.name`, `.size`, `.read()`); nothing is read yet. Raises UploadRefused."""
    limit = settings.UPLOAD_MAX_BYTES
    if file.size > limit:
        raise UploadRefused(
            f"The file is {file.size / 1e6:.0f} MB; the limit is {limit / 1e6:.0f} MB. Split the list."
        )
    content = file.read()
    if not content:
        raise UploadRefused("The file is empty. Choose it again; perhaps the copy was broken off.")
    kind = XLSX_TYPE if content.startswith(b"PK") else CSV_TYPE.partition(";")[0]
    name = _safe_name(file.name)
    kept = Accepted(content, kind, name, hashlib.sha256(content).hexdigest())
    with transaction.atomic():
        document = store(kept, agency=actor.agency, actor=actor, moment=moment)
        return SheetImport.objects.create(
            agency=actor.agency, document=document, name=name, uploaded_by=actor, uploaded_at=moment.at,
            moved_at=moment.at,
        )  # fmt: skip


def read_in(pk: int, *, moment: Moment) -> None:
    """Read the file, compare it with the record and keep the result for the page. Safe to run twice."""
    found = SheetImport.objects.select_related("agency", "document").get(pk=pk)
    if found.state != "reading":
        return
    try:
        made = plan(open_bytes(found.document), agency=found.agency, moment=moment, progress=_counting(pk))
    except Unreadable as why:
        SheetImport.objects.filter(pk=pk, state="reading").update(state="unreadable", says=str(why))
        return
    with transaction.atomic():
        found = SheetImport.objects.select_for_update().get(pk=pk)
        if found.state == "reading":
            _show(found, made)


def ask(pk: int, *, actor: Any, moment: Moment) -> bool:
    """Settle that the good rows shown shall be taken in; False when somebody has settled it already."""
    asked = SheetImport.objects.filter(pk=pk, state="ready", rows__state__in=GOOD).values("pk")
    changes = {**BLANK, "state": "taking", "taken_by": actor, "moved_at": moment.at}
    settled = SheetImport.objects.filter(pk__in=asked, state="ready").update(**changes) == 1
    if settled:
        tell_progress(pk, 0)
    return settled


def take(pk: int, *, moment: Moment, progress: Callable[[int], None] = lambda done: None) -> None:
    """Take in the good rows that were asked for, all or none, exactly as they were shown. Safe to run twice.

    The comparison is made before the transaction, which would else keep other writers waiting; what somebody
    changed in between shows in the chain of events and undoes the taking in.
    """
    found = SheetImport.objects.select_related("agency", "document").get(pk=pk)
    if found.state != "taking":
        return
    last = Event.objects.filter(agency=found.agency).aggregate(seq=Max("seq"))["seq"] or 0
    made = plan(open_bytes(found.document), agency=found.agency, moment=moment)
    says = CHANGED_MEANWHILE
    if _as_told(made.rows) == _as_shown(found):
        try:
            _take(pk, made, last, moment, progress)
            return
        except ValidationError as wrong:
            says = f"Nothing was taken in: {' '.join(wrong.messages)}"
        except (Refused, ChangedMeanwhile, IntegrityError):  # the last: two stored the same new ref at once
            made = plan(open_bytes(found.document), agency=found.agency, moment=moment)
    with transaction.atomic():
        found = SheetImport.objects.select_for_update().get(pk=pk)
        if found.state == "taking":
            _show(found, made, says)


def leave(pk: int) -> bool:
    """Leave the file aside; False when it is no longer waiting."""
    waiting = SheetImport.objects.filter(pk=pk, state__in=("ready", "unreadable"))
    return waiting.update(state="left") == 1


def again(pk: int, moment: Moment) -> bool:
    """A sign that work which seems lost is being started once more; False when none is under way."""
    return SheetImport.objects.filter(pk=pk, state__in=("reading", "taking")).update(moved_at=moment.at) == 1


def faulty(found: SheetImport) -> tuple[list[str], list[list[str]]]:
    """Headings and rows with faults as they stood, with a last column that says what is wrong."""
    headings: list[str] = found.sheet["headings"]
    rows = SheetRow.objects.filter(sheet_import=found, state="refused").order_by("number")
    table = []
    for row in rows.iterator():
        cells = list(row.cells) + [""] * (len(headings) - len(row.cells))
        table.append([*cells, " / ".join(f"{f['path']}: {f['wrong']}: {f['cure']}" for f in row.faults)])
    return [*headings, "What is wrong"], table


def tell_progress(pk: int, done: int) -> None:
    """How many homes are taken in so far: beside the database, whose transaction nobody else can see into.

    A number to look at, no more: the work goes on where the cache is away.
    """
    with suppress(RedisError):
        cache.set(f"sheet-import-{pk}", done, timeout=3600)


def progress_of(found: SheetImport) -> tuple[int, int]:
    """(done, of how many): rows read, or homes taken in."""
    if found.state != "taking":
        return found.done, found.total
    done = 0
    with suppress(RedisError):
        done = cache.get(f"sheet-import-{found.pk}", 0)
    return done, found.rows.filter(state__in=GOOD).count()


@transaction.atomic
def _take(pk: int, made: Plan, last: int, moment: Moment, progress: Callable[[int], None]) -> None:
    """Raises Refused, ValidationError, or ChangedMeanwhile where these homes have events after number `last`."""
    found = SheetImport.objects.select_for_update().get(pk=pk)
    if found.state != "taking":
        return
    actor = found.taken_by
    result = take_in(made.portfolio(), agency=found.agency, actor=actor, moment=moment, progress=progress)
    _landlords(found, made, moment)
    ours = Q(actor=actor, at=moment.at)
    theirs = Q(unit__in=result.unit_ids) | Q(verb=Verb.BUILDING_CHANGED)
    if Event.objects.filter(~ours, theirs, agency=found.agency, seq__gt=last).exists():
        raise ChangedMeanwhile
    counts = f"{result.created} new, {result.changed} changed"
    says = f"Homes were taken in from the spreadsheet “{found.name}”: {counts}."
    happening = Happening(Verb.PORTFOLIO_TAKEN_IN, f"sheet_import:{found.pk}", says)
    record([happening], agency_id=found.agency_id, actor=actor, moment=moment)
    found.state, found.says = "taken", f"Taken in: {counts}."
    found.taken_at = moment.at
    found.save()


def _landlords(found: SheetImport, made: Plan, moment: Moment) -> None:
    """Names and e-mails of landlords, where the record has none."""
    told = {ref: said for ref, said in made.landlords.items() if said.email or said.name}
    for start in range(0, len(told), 500):
        refs = list(told)[start : start + 500]
        for landlord in Landlord.objects.filter(agency=found.agency, ref__in=refs).order_by("pk"):
            said = told[landlord.ref]
            name = said.name if said.name and landlord.name == landlord.ref else landlord.name
            email = landlord.email or said.email or ""
            if (name, email) != (landlord.name, landlord.email):
                landlord.name, landlord.email = name, email
                save(landlord, actor=found.taken_by, moment=moment)


def _show(found: SheetImport, made: Plan, says: str = "") -> None:
    """Keep what each row would do, in place of what was kept before."""
    found.rows.all().delete()
    SheetRow.objects.bulk_create([_row(found, row) for row in made.rows], batch_size=500)
    table = made.table
    found.sheet = {
        "title": table.title,
        "headings": list(table.headings),
        "used": [[text, column.title] for text, column in table.used],
        "unused": list(table.unused),
        "passed": [asdict(row) for row in table.passed],
    }
    found.state, found.says = "ready", says
    found.done = found.total = len(made.rows)
    found.save()


def _row(found: SheetImport, row: RowPlan) -> SheetRow:
    return SheetRow(
        sheet_import=found,
        number=row.line.number,
        where=row.where[:60],
        state=row.state,
        ref=row.ref[:100],
        title=row.title[:500],
        changes=[asdict(change) for change in row.changes],
        faults=[asdict(fault) for fault in row.faults],
        notes=row.notes,
        cells=as_written(row.line.raw) if row.state == "refused" else [],
    )


def _as_told(rows: Sequence[RowPlan]) -> list[tuple[int, str, str, list[dict[str, str]]]]:
    """What the good rows would do, for comparing with what was shown."""
    return [
        (row.line.number, row.state, row.ref, [asdict(change) for change in row.changes])
        for row in rows
        if row.state in GOOD
    ]


def _as_shown(found: SheetImport) -> list[tuple[int, str, str, list[dict[str, str]]]]:
    rows = found.rows.filter(state__in=GOOD).order_by("number")
    return list(rows.values_list("number", "state", "ref", "changes"))


def _counting(pk: int) -> Callable[[int, int], None]:
    def count(done: int, total: int) -> None:
        SheetImport.objects.filter(pk=pk, state="reading").update(done=done, total=total)

    return count


def _safe_name(name: str | None) -> str:
    bare = (name or "").replace("\\", "/").rpartition("/")[2]
    shown = "".join(c for c in unicodedata.normalize("NFC", bare) if unicodedata.category(c)[0] != "C")
    return shown.strip(" .")[:150] or "list"
