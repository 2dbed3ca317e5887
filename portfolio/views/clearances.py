"""The two marks: set one, take one back. Nothing here answers to GET."""

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_POST

from portfolio import clock, gate
from portfolio.forms.clearances import PurposeForm, UnmarkForm
from portfolio.selectors.home import shown_for
from portfolio.views.home import unit_or_404

SAYS = {"let": "to let", "sale": "for sale"}


@require_POST
def mark(request: HttpRequest, pk: int) -> HttpResponse:
    unit = unit_or_404(request, pk, to="mark")
    form = PurposeForm(request.POST)
    if not form.is_valid():
        return render(request, "portfolio/refused.html", {"home": unit, "faults": form.errors}, status=400)
    purpose = form.cleaned_data["purpose"]
    try:
        clearance = gate.mark(unit.pk, purpose, actor=request.user, moment=clock.moment())
    except gate.Barred as barred:
        context = {"home": unit, "reasons": shown_for(unit, barred.reasons), "mark": SAYS[purpose]}
        return render(request, "portfolio/refused.html", context, status=409)
    until = f" until {clearance.until:%-d %B %Y}" if clearance.until else ""
    messages.success(request, f"Marked {SAYS[purpose]}. The mark holds{until} unless something comes up.")
    return redirect("home", pk=unit.pk)


@require_POST
def unmark(request: HttpRequest, pk: int) -> HttpResponse:
    unit = unit_or_404(request, pk, to="mark")
    form = UnmarkForm(request.POST)
    if not form.is_valid():
        return render(request, "portfolio/refused.html", {"home": unit, "faults": form.errors}, status=400)
    purpose, why = form.cleaned_data["purpose"], form.cleaned_data["why"]
    try:
        gate.unmark(unit.pk, purpose, why=why, actor=request.user, moment=clock.moment())
    except gate.NotMarked:
        messages.warning(request, f"The home does not carry the mark ‘{SAYS[purpose]}’ any more.")
    else:
        messages.success(request, f"The mark ‘{SAYS[purpose]}’ was taken back.")
    return redirect("home", pk=unit.pk)
