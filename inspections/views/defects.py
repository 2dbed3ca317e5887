"""The defects of a home: recorded, work said to be done, confirmed by a second person."""

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from inspections.forms import DefectForm, DoneForm
from inspections.models import Defect
from inspections.selectors.defects import defects_of
from inspections.services import defects as service
from portfolio import access, clock
from portfolio.models import Unit
from portfolio.views.home import unit_or_404


@require_safe
def defects(request: HttpRequest, pk: int) -> HttpResponse:
    unit = unit_or_404(request, pk)
    return _list(request, unit)


@require_http_methods(["GET", "HEAD", "POST"])
def defect_add(request: HttpRequest, pk: int) -> HttpResponse:
    unit = unit_or_404(request, pk, to="record_defect")
    moment = clock.moment()
    form = DefectForm(request.POST or None, unit=unit, initial={"found": moment.day})
    if form.is_bound and form.is_valid():
        try:
            defect = service.defect_record(unit.pk, **form.recorded(), actor=request.user, moment=moment)
        except ValidationError as wrong:
            form.add_error(None, wrong.messages)
        else:
            messages.success(request, f"Recorded: {defect.title}.")
            return redirect("defects", pk=unit.pk)
    return render(request, "inspections/defect_add.html", {"home": unit, "form": form})


@require_POST
def nothing_found(request: HttpRequest, pk: int) -> HttpResponse:
    unit = unit_or_404(request, pk, to="record_defect")
    service.nothing_found(unit.pk, actor=request.user, moment=clock.moment())
    messages.success(request, "Recorded: the home was looked over and there is no defect to record.")
    return redirect("defects", pk=unit.pk)


@require_POST
def defect_claim_done(request: HttpRequest, pk: int) -> HttpResponse:
    defect = _defect_or_404(request, pk, to="claim_done")
    form = DoneForm(request.POST)
    if not form.is_valid():
        return _list(request, defect.unit, fault=str(form.errors["on"][0]), status=400)
    try:
        service.defect_claim_done(
            defect.pk, on=form.cleaned_data["on"], actor=request.user, moment=clock.moment()
        )
    except ValidationError as wrong:
        return _list(request, defect.unit, fault=" ".join(wrong.messages), status=400)
    except service.NotAllowed as refused:
        return _list(request, defect.unit, fault=str(refused), status=409)
    messages.success(request, "Kept: the work is said to be done. A second person has to confirm it.")
    return redirect("defects", pk=defect.unit_id)


@require_POST
def defect_confirm(request: HttpRequest, pk: int) -> HttpResponse:
    defect = _defect_or_404(request, pk, to="confirm")
    try:
        service.defect_confirm(defect.pk, actor=request.user, moment=clock.moment())
    except service.NotAllowed as refused:
        return _list(request, defect.unit, fault=str(refused), status=409)
    messages.success(request, f"Confirmed as put right: {defect.title or defect.code}.")
    return redirect("defects", pk=defect.unit_id)


def _list(request: HttpRequest, unit: Unit, *, fault: str = "", status: int = 200) -> HttpResponse:
    page = {"home": unit, "rows": defects_of(unit, request.user), "fault": fault, "today": clock.today()}
    return render(request, "inspections/defects.html", page, status=status)


def _defect_or_404(request: HttpRequest, pk: int, *, to: str) -> Defect:
    access.require(request.user, to)
    return access.get_or_404(
        Defect.objects.select_related("unit__building", "unit__landlord"), request.user, pk=pk
    )
