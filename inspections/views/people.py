"""Contractors with their registrations, and what our own people may judge: for letting agents."""

from collections.abc import Callable
from typing import Any

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.forms import Form
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_http_methods, require_safe

from inspections.forms.jobs import ReasonForm
from inspections.forms.people import CompetenceForm, ContractorForm, RegistrationForm
from inspections.models import Competence, Contractor, Job, Registration
from inspections.selectors import people as shown
from inspections.selectors.jobs import listed, rows
from inspections.services import people as service
from inspections.services.defects import NotAllowed
from portfolio import access, clock
from portfolio.models import User

SHOW_JOBS = 20


@require_safe
def contractors(request: HttpRequest) -> HttpResponse:
    access.require(request.user, "manage_people")
    firms = shown.firms(Contractor.objects.visible_to(request.user), day=clock.today())
    return render(request, "inspections/contractors.html", {"firms": firms})


@require_safe
def contractor(request: HttpRequest, pk: int) -> HttpResponse:
    firm = _firm_or_404(request, pk)
    today = clock.today()
    jobs = Job.objects.visible_to(request.user).filter(contractor=firm)
    page = {
        "firm": shown.firms(Contractor.objects.filter(pk=firm.pk), day=today)[0],
        "jobs": rows(listed(jobs, day=today)[:SHOW_JOBS], day=today),
    }
    return render(request, "inspections/contractor.html", page)


@require_http_methods(["GET", "HEAD", "POST"])
def contractor_add(request: HttpRequest) -> HttpResponse:
    access.require(request.user, "manage_people")
    return _contractor_form(request, None)


@require_http_methods(["GET", "HEAD", "POST"])
def contractor_change(request: HttpRequest, pk: int) -> HttpResponse:
    return _contractor_form(request, _firm_or_404(request, pk))


def _contractor_form(request: HttpRequest, firm: Contractor | None) -> HttpResponse:
    names = ("name", "email", "phone", "trades", "people", "ended")
    initial = {name: getattr(firm, name) for name in names} if firm else {}
    if firm is not None:
        initial["people"] = firm.people.all()
    form = ContractorForm(request.POST or None, people=_ours(request), initial=initial)
    kept = _kept(
        form,
        lambda: service.contractor_save(
            firm.pk if firm else None, **form.cleaned_data, actor=request.user, moment=clock.moment()
        ),
    )
    if kept is not None:
        messages.success(request, f"Recorded: {kept}.")
        return redirect("contractor", pk=kept.pk)
    title = f"Change {firm}" if firm else "Add a contractor"
    return _one_form(request, form, title, firm)


@require_http_methods(["GET", "HEAD", "POST"])
def registration_add(request: HttpRequest, pk: int) -> HttpResponse:
    return _registration_form(request, _firm_or_404(request, pk), None)


@require_http_methods(["GET", "HEAD", "POST"])
def registration_change(request: HttpRequest, pk: int) -> HttpResponse:
    held = _registration_or_404(request, pk)
    return _registration_form(request, held.contractor, held)


def _registration_form(request: HttpRequest, firm: Contractor, held: Registration | None) -> HttpResponse:
    names = ("kind", "number", "until", "checked_on")
    initial = {name: getattr(held, name) for name in names} if held else {}
    form = RegistrationForm(request.POST or None, initial=initial)
    kept = _kept(
        form,
        lambda: service.registration_save(
            firm.pk, held.pk if held else None, **form.cleaned_data, actor=request.user, moment=clock.moment()
        ),
    )
    if kept is not None:
        messages.success(request, f"Recorded: {kept}.")
        return redirect("contractor", pk=firm.pk)
    title = f"Change the registration: {held}" if held else "Add a registration"
    return _one_form(request, form, title, firm)


@require_http_methods(["GET", "HEAD", "POST"])
def registration_withdraw(request: HttpRequest, pk: int) -> HttpResponse:
    held = _registration_or_404(request, pk)
    form = ReasonForm(request.POST or None)
    kept = _kept(
        form,
        lambda: service.registration_withdraw(
            held.pk, why=form.cleaned_data["why"], actor=request.user, moment=clock.moment()
        ),
    )
    if kept is not None:
        messages.success(request, f"Withdrawn: {held}. It stays on record.")
        return redirect("contractor", pk=held.contractor_id)
    return _one_form(request, form, f"Withdraw: {held}", held.contractor)


@require_safe
def people(request: HttpRequest) -> HttpResponse:
    access.require(request.user, "manage_people")
    return render(
        request, "inspections/people.html", {"people": shown.people(_ours(request), day=clock.today())}
    )


@require_http_methods(["GET", "HEAD", "POST"])
def competence_add(request: HttpRequest, pk: int) -> HttpResponse:
    access.require(request.user, "manage_people")
    person = get_object_or_404(_ours(request), pk=pk)
    form = CompetenceForm(request.POST or None)
    kept = _kept(
        form,
        lambda: service.competence_record(
            person.pk, **form.cleaned_data, actor=request.user, moment=clock.moment()
        ),
    )
    if kept is not None:
        messages.success(request, f"Recorded: {kept}.")
        return redirect("people")
    return _one_form(request, form, f"What {person} may judge", None)


@require_http_methods(["GET", "HEAD", "POST"])
def competence_withdraw(request: HttpRequest, pk: int) -> HttpResponse:
    access.require(request.user, "manage_people")
    held = access.get_or_404(Competence.objects.select_related("user"), request.user, pk=pk)
    form = ReasonForm(request.POST or None)
    kept = _kept(
        form,
        lambda: service.competence_withdraw(
            held.pk, why=form.cleaned_data["why"], actor=request.user, moment=clock.moment()
        ),
    )
    if kept is not None:
        messages.success(request, f"Withdrawn: {held}. It stays on record.")
        return redirect("people")
    return _one_form(request, form, f"Withdraw: {held}", None)


def _kept(form: Form, keep: Callable[[], Any]) -> Any:
    """What was kept; None when nothing was sent or it was refused, which is then an error of the form."""
    if not form.is_bound or not form.is_valid():
        return None
    try:
        return keep()
    except ValidationError as wrong:
        _add(form, wrong)
    except NotAllowed as refused:
        form.add_error(None, str(refused))
    return None


def _add(form: Form, wrong: ValidationError) -> None:
    """Each fault at its field; those of fields that the form does not have, above all."""
    told = wrong.message_dict if hasattr(wrong, "error_dict") else {"__all__": wrong.messages}
    for name, faults in told.items():
        form.add_error(name if name in form.fields else None, faults)


def _one_form(request: HttpRequest, form: Form, title: str, firm: Contractor | None) -> HttpResponse:
    page = {"form": form, "title": title, "firm": firm}
    return render(request, "inspections/people_form.html", page, status=400 if form.errors else 200)


def _ours(request: HttpRequest) -> Any:
    return User.objects.filter(agency=request.user.agency_id, is_active=True)  # type: ignore[union-attr]


def _firm_or_404(request: HttpRequest, pk: int) -> Contractor:
    access.require(request.user, "manage_people")
    firm: Contractor = access.get_or_404(Contractor.objects.all(), request.user, pk=pk)
    return firm


def _registration_or_404(request: HttpRequest, pk: int) -> Registration:
    access.require(request.user, "manage_people")
    held: Registration = access.get_or_404(
        Registration.objects.select_related("contractor"), request.user, pk=pk
    )
    return held
