"""Jobs as the agency sees them: the list, one job, a new one, its sheet and its entry for a calendar."""

from typing import Any

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.core.paginator import Paginator
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from inspections.forms.jobs import FindJobs, SendForm, TakeBackForm
from inspections.models import Contractor, Defect, Job
from inspections.selectors import jobs as shown
from inspections.selectors.job_parts import dangers, first_due, parts_of
from inspections.services import job_new
from inspections.services import jobs as service
from inspections.services.defects import NotAllowed
from inspections.services.job_calendar import invitation
from inspections.services.job_sheet import job_sheet as sheet_of
from notifications import outbox
from portfolio import access, clock

PER_PAGE = 50


@require_safe
def jobs(request: HttpRequest) -> HttpResponse:
    access.require(request.user, "see_jobs")
    today, mine = clock.today(), Job.objects.visible_to(request.user)
    firms = Contractor.objects.visible_to(request.user).order_by("name")
    form = FindJobs(request.GET or None, contractors=firms)
    asked = form.cleaned_data if form.is_bound and form.is_valid() else {}
    state = asked.get("state") or "open"
    if asked.get("contractor"):
        mine = mine.filter(contractor=asked["contractor"])
    ids = shown.listed(mine, state="" if state == "all" else state, day=today)
    page = Paginator(ids, PER_PAGE).get_page(request.GET.get("page"))
    told = {"form": form, "state": state, "page": page, "rows": shown.rows(page.object_list, day=today)}
    return render(request, "inspections/jobs.html", told)


@require_safe
def job(request: HttpRequest, pk: int) -> HttpResponse:
    return _page(request, _job_or_404(request, pk, to="see_jobs"))


def _page(
    request: HttpRequest, found: Job, *, form: TakeBackForm | None = None, status: int = 200
) -> HttpResponse:
    moment = clock.moment()
    parts = parts_of(found.items.values_list("defect_id", flat=True), found.contractor, day=moment.day)
    ended = set(found.items.filter(ended_at__isnull=False).values_list("defect_id", flat=True))
    live = [line for part in parts for line in part.lines if line.defect.pk not in ended]
    page = {
        "job": found,
        "state": shown.state_of(found),
        "day": shown.day_words(found),
        "parts": parts,
        "ended": ended,
        "late": found.closed_at is None and any(line.late for line in live),
        "link": found.links.filter(dead_at=None, good_until__gt=moment.at).first(),
        "events": shown.events_of(found),
        "letters": shown.messages_of(found),
        "form": form or TakeBackForm(),
        "refused": outbox.refused(found.agency_id, [found.contractor.email]).get(found.contractor.email, ""),
    }
    return render(request, "inspections/job.html", page, status=status)


@require_http_methods(["GET", "HEAD", "POST"])
def job_new_page(request: HttpRequest) -> HttpResponse:
    """Choose who gets the defects that were picked, look at the mail, send it."""
    access.require(request.user, "send_job")
    moment = clock.moment()
    ids = _picked(request)
    choices = job_new.choices(ids, actor=request.user, moment=moment)
    form = SendForm(request.POST or None, contractors=job_new.allowed(choices))
    letter = None
    if form.is_bound and form.is_valid():
        if "send" in request.POST:
            sent = _sent(request, form, ids, moment)
            if sent is not None:
                return redirect("job", pk=sent.pk)
        else:
            letter = job_new.letter(ids, **form.cleaned_data, actor=request.user, moment=moment)
    page = {
        "form": form,
        "ids": ids,
        "parts": choices.parts,
        "dangers": dangers(choices.parts),
        "due": first_due(choices.parts),
        "faults": choices.faults,
        "firms": choices.firms,
        "letter": letter,
    }
    return render(request, "inspections/job_new.html", page, status=400 if form.errors else 200)


def _picked(request: HttpRequest) -> list[int]:
    """The defects that were picked. Raises Http404 for one that is not there for this person."""
    source = request.POST if request.method == "POST" else request.GET
    asked = source.getlist("defect")
    if not all(pk.isascii() and pk.isdigit() and len(pk) < 19 for pk in asked):
        raise Http404
    ids = sorted({int(pk) for pk in asked})
    if Defect.objects.visible_to(request.user).filter(pk__in=ids).count() != len(ids):
        raise Http404
    return ids


def _sent(request: HttpRequest, form: SendForm, ids: list[int], moment: clock.Moment) -> Job | None:
    firm = form.cleaned_data["contractor"]
    try:
        sent, _ = service.job_send(
            firm.pk, ids, access_notes=form.cleaned_data["access_notes"], actor=request.user, moment=moment
        )
    except ValidationError as wrong:
        form.add_error(None, wrong.messages)
        return None
    messages.success(request, f"{sent} is on its way to {firm}.")
    return sent


@require_POST
def job_take_back(request: HttpRequest, pk: int) -> HttpResponse:
    found = _job_or_404(request, pk, to="send_job")
    form = TakeBackForm(request.POST)
    if not form.is_valid():
        return _page(request, found, form=form, status=400)
    try:
        service.job_take_back(
            found.pk, why=form.cleaned_data["why"], actor=request.user, moment=clock.moment()
        )
    except NotAllowed as refused:
        form.add_error(None, str(refused))
        return _page(request, found, form=form, status=409)
    messages.success(request, f"{found} is taken back. {found.contractor} is told.")
    return redirect("job", pk=found.pk)


@require_POST
def job_link_new(request: HttpRequest, pk: int) -> HttpResponse:
    found = _job_or_404(request, pk, to="send_job")
    try:
        service.job_link_new(found.pk, actor=request.user, moment=clock.moment())
    except NotAllowed as refused:
        messages.error(request, str(refused))
        return redirect("job", pk=found.pk)
    messages.success(request, f"{found.contractor} gets a new link. The old one no longer works.")
    return redirect("job", pk=found.pk)


@require_safe
def job_sheet(request: HttpRequest, pk: int) -> HttpResponse:
    found, moment = _job_or_404(request, pk, to="see_jobs"), clock.moment()
    content = sheet_of(found, _whole(found, moment), moment=moment)
    return _file(content, "application/pdf", f"job-{found.number}.pdf")


@require_safe
def job_visit(request: HttpRequest, pk: int) -> HttpResponse:
    """The entry for a calendar, as it was last sent to the contractor."""
    found, moment = _job_or_404(request, pk, to="see_jobs"), clock.moment()
    cancel = shown.state_of(found).code in ("declined", "taken_back")
    content = invitation(found, _whole(found, moment), moment=moment, cancel=cancel)
    if content is None:
        messages.error(request, f"{found} has neither a proposed day nor a last day to put in a calendar.")
        return redirect("job", pk=found.pk)
    return _file(content, "text/calendar; charset=utf-8", f"job-{found.number}.ics")


def _whole(found: Job, moment: clock.Moment) -> list[Any]:
    """What is still in the job, or all that was in one that is closed."""
    items = found.items.all() if found.closed_at else found.items.filter(ended_at=None)
    return parts_of(items.values_list("defect_id", flat=True), found.contractor, day=moment.day)


def _file(content: bytes, kind: str, name: str) -> HttpResponse:
    headers = {
        "Content-Disposition": f'attachment; filename="{name}"',
        "X-Content-Type-Options": "nosniff",
        "Cache-Control": "private, no-store",
    }
    return HttpResponse(content, content_type=kind, headers=headers)


def _job_or_404(request: HttpRequest, pk: int, *, to: str) -> Job:
    access.require(request.user, to)
    found: Job = access.get_or_404(
        shown.counted(Job.objects.all()),  # type: ignore[arg-type]
        request.user,
        pk=pk,
    )
    return found
