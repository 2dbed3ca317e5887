"""Entering what a report observed: pasted or typed, shown as it would be taken, then recorded in one go."""

from typing import Any

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_http_methods

from inspections.forms.reports import ObservationsForm
from inspections.observations import read
from inspections.services import reports as service
from portfolio import access, clock, words
from portfolio.law import model as law
from portfolio.models import Certificate
from portfolio.selectors.naming import paper_words


@require_http_methods(["GET", "HEAD", "POST"])
def observations(request: HttpRequest, pk: int) -> HttpResponse:
    access.require(request.user, "record_defect")
    papers = Certificate.objects.select_related("unit__building", "unit__agency")
    paper: Certificate = access.get_or_404(papers, request.user, pk=pk)
    form = ObservationsForm(request.POST or None)
    codes = law.CODES.get(service.SCHEME_OF.get(paper.kind, ""), ())
    lines: list[service.Line] = []
    seen = ""
    if form.is_bound and form.is_valid():
        found = read(form.cleaned_data["text"], codes)
        lines = service.preview(paper, found)
        faulty = any(one.fault for one in found)
        if "save" in request.POST and form.was_seen and not faulty:
            done = _recorded(request, form, paper, found)
            if done is not None:
                return done
        seen = form.mark
    page = {
        "paper": paper,
        "paper_words": paper_words(paper),
        "home": paper.unit,
        "form": form,
        "lines": lines,
        "seen": seen,
        "new": sum(line.new for line in lines),
        "faults": sum(bool(line.observation.fault) for line in lines),
        "codes": [(code, words.CODE[code]) for code in codes],
        "why_not": service.why_not(paper),
        "held": paper.defects.count(),
    }
    return render(request, "inspections/report_observations.html", page, status=400 if form.errors else 200)


def _recorded(
    request: HttpRequest, form: ObservationsForm, paper: Certificate, found: Any
) -> HttpResponse | None:
    """Where to go when they are recorded; None with the refusal on the form."""
    try:
        new = service.observations_record(paper.pk, found, actor=request.user, moment=clock.moment())
    except ValidationError as wrong:
        form.add_error(None, wrong.messages)
        return None
    there = len(found) - len(new)
    many = "1 defect" if len(new) == 1 else f"{len(new)} defects"
    also = f" {there} {'was' if there == 1 else 'were'} there already." if there else ""
    messages.success(request, f"Recorded: {many} of the {paper_words(paper)}.{also}")
    return redirect("defects", pk=paper.unit_id)
