"""Changing what is on record about a home: its facts and contents, tenancies, marketing, acts."""

from typing import Any

from django import forms
from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_http_methods, require_POST

from portfolio import access, clock
from portfolio.facts import facts_of, nameable
from portfolio.forms.acts import ActForm, MarketingForm, TenancyEndForm, TenancyForm
from portfolio.forms.contents import ROWS, ListForm
from portfolio.forms.danger import DangerForm
from portfolio.forms.home import BuildingForm, UnitForm, unit_initial
from portfolio.models import Tenancy, Unit
from portfolio.selectors.facts_form import Editable, editable
from portfolio.selectors.naming import names_of
from portfolio.services import homes as service
from portfolio.views.home import unit_or_404

get_or_post = require_http_methods(["GET", "HEAD", "POST"])


@get_or_post
def home_facts(request: HttpRequest, pk: int) -> HttpResponse:
    unit = unit_or_404(request, pk, to="edit_home")
    known = editable(unit)
    seen = request.POST.get("seen", "") if request.method == "POST" else service.mark_of(known.facts)
    building, home, lists = _forms(request, known)
    danger = DangerForm(request.POST if request.method == "POST" else None)
    forms_sent = (building, home, *lists.values(), danger)
    ask_why = "why" in request.POST
    if request.method == "POST" and all([form.is_valid() for form in forms_sent]):
        facts = home.facts(unit, {name: form.facts() for name, form in lists.items()})
        try:
            changed = service.home_edit(
                unit.pk,
                building=building.facts(unit.building.ref),
                unit=facts,
                rooms_gone=lists["rooms"].gone(),
                seen=seen,
                why=danger.cleaned_data["why"],
                actor=request.user,
                moment=clock.moment(),
            )
        except ValidationError as wrong:
            home.add_error(None, wrong.messages)
            ask_why = ask_why or isinstance(wrong, service.DangerGoes)
        else:
            messages.success(
                request, "The facts are changed." if changed else "Nothing was different: nothing is changed."
            )
            return redirect("home", pk=unit.pk)
    page = {
        "home": unit,
        "building_form": building,
        "home_form": home,
        "lists": lists.values(),
        "known": known,
        "seen": seen,
        "danger_form": danger if ask_why else None,
        "faulty": request.method == "POST" and [form for form in forms_sent if not form.is_valid()],
    }
    return render(request, "portfolio/home_facts.html", page)


def _forms(request: HttpRequest, known: Editable) -> tuple[BuildingForm, UnitForm, dict[str, ListForm]]:
    data = request.POST if request.method == "POST" else None
    facts, unit = known.facts
    initial = {name: getattr(facts, name) for name in BuildingForm.base_fields}
    building = BuildingForm(data, prefix="building", initial=initial)
    home = UnitForm(data, prefix="home", landlords=known.landlords, initial=unit_initial(unit))
    lists = {
        name: ListForm(
            name,
            getattr(unit, name),
            known.fresh[name],
            data,
            known.rooms,
            known.rooms_found if name == "rooms" else (),
        )
        for name in ROWS
    }
    return building, home, lists


@get_or_post
def tenancy_add(request: HttpRequest, pk: int) -> HttpResponse:
    unit = unit_or_404(request, pk, to="edit_home")
    form = TenancyForm(request.POST or None)
    return _one(
        request, unit, form, "Add a tenancy", lambda how: service.tenancy_add(unit.pk, form.fact(), **how)
    )


@get_or_post
def tenancy_end(request: HttpRequest, pk: int) -> HttpResponse:
    access.require(request.user, "edit_home")
    tenancies = Tenancy.objects.select_related("unit__building", "unit__landlord")
    tenancy = access.get_or_404(tenancies, request.user, pk=pk)
    form = TenancyEndForm(request.POST or None, starts=tenancy.starts)
    title = "Record the last day of a tenancy"
    return _one(
        request,
        tenancy.unit,
        form,
        title,
        lambda how: service.tenancy_end(pk, ends=form.cleaned_data["ends"], **how),
    )


@get_or_post
def marketing_add(request: HttpRequest, pk: int) -> HttpResponse:
    unit = unit_or_404(request, pk, to="edit_home")
    form = MarketingForm(request.POST or None)
    return _one(
        request, unit, form, "Add marketing", lambda how: service.marketing_add(unit.pk, form.fact(), **how)
    )


@get_or_post
def act_add(request: HttpRequest, pk: int) -> HttpResponse:
    unit = unit_or_404(request, pk, to="edit_home")
    today = clock.today()
    initial = {name: request.GET.get(name, "") for name in ("what", "of", "party")} | {"on": today}
    facts = facts_of([unit.pk])[unit.pk][1]
    sayable = nameable(facts)
    refs = {ref: said for ref, said in names_of(facts).items() if ref in sayable}
    form = ActForm(request.POST or None, refs=refs, day=today, initial=initial)
    title = "Record something done"
    return _one(
        request,
        unit,
        form,
        title,
        lambda how: service.act_add(unit.pk, form.fact(), **how),
        may_be_none=not unit.events_listed,
    )


@require_POST
def acts_none(request: HttpRequest, pk: int) -> HttpResponse:
    """Nothing was done so far: the list of acts is on record, and empty."""
    unit = unit_or_404(request, pk, to="edit_home")
    service.nothing_done(unit.pk, actor=request.user, moment=clock.moment())
    messages.success(request, "Recorded: nothing of the kind was done so far.")
    return redirect("home", pk=unit.pk)


def _one(
    request: HttpRequest, unit: Unit, form: forms.Form, title: str, store: Any, **more: Any
) -> HttpResponse:
    """A page with one small form; `store` is called with who and when once it is valid."""
    if request.method == "POST" and form.is_valid():
        try:
            store({"actor": request.user, "moment": clock.moment()})
        except ValidationError as wrong:
            form.add_error(None, wrong.messages)
        else:
            messages.success(request, "Recorded.")
            return redirect("home", pk=unit.pk)
    return render(request, "portfolio/one_form.html", {"home": unit, "form": form, "title": title, **more})
