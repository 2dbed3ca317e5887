"""The defects of a home, and one defect with each step of putting it right."""

from collections.abc import Callable
from typing import Any

from django import forms
from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from inspections.forms.defects import (
    ConfirmForm,
    DefectForm,
    DescribeForm,
    DoneForm,
    MadeSafeForm,
    RecodeForm,
    SendBackForm,
)
from inspections.models import Defect
from inspections.selectors.defects import DefectPage, defect_page, defects_of
from inspections.services import defects as service
from portfolio import access, clock
from portfolio.views.home import unit_or_404

RELATED = (
    "unit__building", "unit__landlord", "unit__agency", "room", "certificate", "visit", "recorded_by",
    "completed_by", "completed_for", "confirmed_by", "made_safe_by", "made_safe_for",
)  # fmt: skip


@require_safe
def defects(request: HttpRequest, pk: int) -> HttpResponse:
    unit = unit_or_404(request, pk)
    page = {"home": unit, "rows": defects_of(unit, clock.moment())}
    return render(request, "inspections/defects.html", page)


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


@require_safe
def defect(request: HttpRequest, pk: int) -> HttpResponse:
    return _page(request, _defect_or_404(request, pk, to="see"), clock.moment())


@require_POST
def defect_made_safe(request: HttpRequest, pk: int) -> HttpResponse:
    return _step(
        request, pk, "safe", "make_safe", _made_safe, "Kept: made safe for now. It still has to be put right."
    )


@require_POST
def defect_claim_done(request: HttpRequest, pk: int) -> HttpResponse:
    said = "Kept: the work is said to be done. A second person has to confirm it."
    return _step(request, pk, "done", "claim_done", _claim_done, said)


@require_POST
def defect_send_back(request: HttpRequest, pk: int) -> HttpResponse:
    said = "Sent back: the work counts as not done. Whoever said it was done is told."
    return _step(request, pk, "back", "confirm", _send_back, said)


@require_POST
def defect_confirm(request: HttpRequest, pk: int) -> HttpResponse:
    return _step(request, pk, "confirm", "confirm", _confirm, "Confirmed as put right.")


@require_POST
def defect_recode(request: HttpRequest, pk: int) -> HttpResponse:
    return _step(request, pk, "recode", "recode", _recode, "Kept: it is classed otherwise.")


@require_POST
def defect_describe(request: HttpRequest, pk: int) -> HttpResponse:
    return _step(request, pk, "describe", "record_defect", _describe, "Kept: the description.")


Call = Callable[..., Any]
"""A service given the number of the defect and a valid form, with `actor` and `moment`."""


def _made_safe(pk: int, form: Any, **who: Any) -> Any:
    return service.defect_made_safe(pk, **form.cleaned_data, **who)


def _claim_done(pk: int, form: Any, **who: Any) -> Any:
    return service.defect_claim_done(pk, **form.cleaned_data, **who)


def _send_back(pk: int, form: Any, **who: Any) -> Any:
    return service.defect_send_back(pk, **form.cleaned_data, **who)


def _confirm(pk: int, form: Any, **who: Any) -> Any:
    return service.defect_confirm(pk, **form.cleaned_data, **who)


def _recode(pk: int, form: Any, **who: Any) -> Any:
    return service.defect_recode(pk, **form.said(), **who)


def _describe(pk: int, form: Any, **who: Any) -> Any:
    return service.defect_describe(pk, **form.said(), **who)


def _step(request: HttpRequest, pk: int, name: str, needs: str, call: Call, said: str) -> HttpResponse:
    """Take one step, or show the page again with what is against it."""
    defect, moment = _defect_or_404(request, pk, to=needs), clock.moment()
    page = defect_page(defect, request.user, moment)
    form = _forms(page, moment, request.POST, name)[name]
    status = 400
    if form.is_valid():
        try:
            call(defect.pk, form, actor=request.user, moment=moment)
        except ValidationError as wrong:
            form.add_error(None, wrong.messages)
        except service.NotAllowed as refused:
            form.add_error(None, str(refused))
            status = 409
        else:
            messages.success(request, said)
            return redirect("defect", pk=defect.pk)
    return _page(request, defect, moment, {name: form}, status=status)


def _forms(
    page: DefectPage, moment: clock.Moment, data: Any = None, bound: str = ""
) -> dict[str, forms.Form]:
    """The form of each step; the one named `bound` holds what was sent."""

    def given(name: str) -> Any:
        return data if name == bound else None

    today = {"on": moment.day}
    works = page.works if page.work_needed else []
    missing = bool(page.back.missing)
    return {
        "safe": MadeSafeForm(given("safe"), initial=today),
        "done": DoneForm(given("done"), initial=today | _said(page), works=page.works, firms=page.firms),
        "back": SendBackForm(given("back")),
        "confirm": ConfirmForm(given("confirm"), works=works, missing=missing),
        "recode": RecodeForm(given("recode")),
        "describe": DescribeForm(given("describe"), defect=page.defect),
    }


def _said(page: DefectPage) -> dict[str, Any]:
    """What is on record already of who did which work."""
    return {"work": page.defect.work, "contractor": page.job.contractor_id if page.job else None}


def _page(
    request: HttpRequest,
    defect: Defect,
    moment: clock.Moment,
    bound: dict[str, forms.Form] | None = None,
    *,
    status: int = 200,
) -> HttpResponse:
    page = defect_page(defect, request.user, moment)
    shown = {
        "page": page,
        "defect": defect,
        "home": defect.unit,
        "forms": _forms(page, moment) | (bound or {}),
    }
    shown["form"] = next(iter((bound or {}).values()), None)
    shown["opened"] = next(iter(bound or {}), "")
    return render(request, "inspections/defect.html", shown, status=status)


def _defect_or_404(request: HttpRequest, pk: int, *, to: str) -> Defect:
    access.require(request.user, to)
    found: Defect = access.get_or_404(Defect.objects.select_related(*RELATED), request.user, pk=pk)
    return found
