"""Importing a spreadsheet: upload, watch it being read, see what every row would do, then take it in or leave it."""

from datetime import timedelta
from typing import Any

from celery.exceptions import OperationalError
from django.contrib import messages
from django.core.paginator import Paginator
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from portfolio import access, clock, tasks
from portfolio.documents import UploadRefused
from portfolio.exchange.sheets.template import blank_csv, blank_xlsx
from portfolio.forms.sheets import SheetForm
from portfolio.models import SheetImport
from portfolio.models.imports import ROW_STATE
from portfolio.selectors.sheets import counts, shown_rows
from portfolio.services import sheet_import as service
from portfolio.views.downloads import download, sheet

PER_PAGE = 50
SMALL_BYTES = 100_000
"""A file of up to some 300 rows: read in the request where no worker can be reached."""
PATIENCE = timedelta(minutes=2)
"""After this long without an end, a page offers to start the work again."""
BUSY = ("reading", "taking")
TASKS = {"reading": tasks.sheet_read, "taking": tasks.sheet_take}


@require_http_methods(["GET", "HEAD", "POST"])
def sheet_import_list(request: HttpRequest) -> HttpResponse:
    """The upload form and the imports so far."""
    access.require(request.user, "import")
    form = SheetForm(request.POST or None, request.FILES or None)
    if request.method == "POST" and form.is_valid():
        try:
            found = service.upload(form.cleaned_data["upload"], actor=request.user, moment=clock.moment())
        except UploadRefused as why:
            form.add_error("upload", str(why))
        else:
            _start(request, found)
            return redirect("sheet_import", pk=found.pk)
    imports = SheetImport.objects.visible_to(request.user).select_related("uploaded_by")
    page = Paginator(imports, PER_PAGE).get_page(request.GET.get("page"))
    return render(request, "portfolio/sheets/list.html", {"form": form, "page": page})


@require_safe
def sheet_template(request: HttpRequest, form: str) -> HttpResponse:
    """The blank list to fill."""
    access.require(request.user, "import")
    content = blank_xlsx() if form == "xlsx" else blank_csv()
    return download(content, form, "sneck-blank-list")


@require_safe
def sheet_import(request: HttpRequest, pk: int) -> HttpResponse:
    """One import: how far it has come, or what each row would do."""
    found = _found(request, pk)
    state = request.GET.get("state", "")
    if state not in ROW_STATE:
        state = ""
    done, total = service.progress_of(found)
    tally = counts(found)
    number = {code: n for code, _, n in tally}
    page = {
        "import": found,
        "busy": found.state in BUSY,
        "slow": found.state in BUSY and clock.moment().at - found.moved_at > PATIENCE,
        "done": done,
        "total": total,
        "state": state,
        "counts": tally,
        "rows_in_all": sum(number.values()),
        "good": number["new"] + number["changed"],
        "refused": number["refused"],
        "page": Paginator(shown_rows(found, state), PER_PAGE).get_page(request.GET.get("page")),
    }
    return render(request, "portfolio/sheets/import.html", page)


@require_POST
def sheet_take(request: HttpRequest, pk: int) -> HttpResponse:
    """Take in the good rows."""
    found = _found(request, pk)
    if service.ask(found.pk, actor=request.user, moment=clock.moment()):
        found.refresh_from_db()
        _start(request, found)
    else:
        messages.info(request, "There was nothing left to take in: see below what has become of this list.")
    return redirect("sheet_import", pk=pk)


@require_POST
def sheet_leave(request: HttpRequest, pk: int) -> HttpResponse:
    """Leave the list aside; nothing of it is stored."""
    found = _found(request, pk)
    if service.leave(found.pk):
        messages.info(request, f"“{found.name}” was left aside. Nothing of it is on record.")
    return redirect("sheet_import_list")


@require_POST
def sheet_again(request: HttpRequest, pk: int) -> HttpResponse:
    """Start work that seems lost once more; it does no harm where it is not."""
    found = _found(request, pk)
    if service.again(found.pk, clock.moment()):
        _start(request, found)
    return redirect("sheet_import", pk=pk)


@require_safe
def sheet_faults(request: HttpRequest, pk: int, form: str) -> HttpResponse:
    """The rows with faults, as they stood, with what is wrong."""
    found = _found(request, pk)
    if not found.sheet:
        raise Http404
    headings, rows = service.faulty(found)
    return sheet(form, f"rows-with-faults-{found.pk}", headings, rows, "Rows with faults")


def _found(request: HttpRequest, pk: int) -> SheetImport:
    access.require(request.user, "import")
    imports = SheetImport.objects.select_related("document", "uploaded_by", "taken_by")
    found: SheetImport = access.get_or_404(imports, request.user, pk=pk)
    return found


def _start(request: HttpRequest, found: SheetImport) -> None:
    """Hand the work to a worker; where none can be reached, do a small list at once and keep a large one."""
    task: Any = TASKS[found.state]
    try:
        task.delay(found.pk)
    except OperationalError:
        if found.document.size <= SMALL_BYTES:
            task(found.pk)
        else:
            messages.warning(
                request,
                "The worker that does this in the background cannot be reached just now. The list is kept; "
                "start it again from this page when the worker is back.",
            )
