"""Evidence for a defect: brought, looked at, fetched as it came, withdrawn."""

from typing import Any

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_http_methods, require_safe

from inspections.forms.evidence import EvidenceForm, WithdrawForm
from inspections.models import Defect, Evidence
from inspections.selectors.evidence import evidence_of
from inspections.services import evidence as service
from inspections.services.defects import NotAllowed
from portfolio import access, clock
from portfolio.documents import Accepted, UploadRefused, accept
from portfolio.models import Document
from portfolio.views.documents import as_it_came, to_look_at


def files_from(request: HttpRequest, *fields: str) -> list[Accepted]:
    """Every file that came in these fields, proven. Raises ValidationError with a sentence for each one refused."""
    uploads = [upload for field in fields for upload in request.FILES.getlist(field)]
    accepted, refused = [], []
    for upload in uploads:
        try:
            accepted.append(accept(upload))
        except UploadRefused as why:
            refused.append(f"‘{upload.name}’: {why}")
    if refused:
        if len(uploads) > 1:
            refused.append("None of the files is kept yet. Choose them again, without what is named here.")
        raise ValidationError(refused)
    return accepted


@require_http_methods(["GET", "HEAD", "POST"])
def evidence_add(request: HttpRequest, pk: int) -> HttpResponse:
    access.require(request.user, "add_evidence")
    defects = Defect.objects.select_related("unit__building", "unit__landlord")
    defect = access.get_or_404(defects, request.user, pk=pk)
    form = EvidenceForm(request.POST, request.FILES) if request.method == "POST" else EvidenceForm()
    if form.is_bound and form.is_valid() and _kept(request, form, defect):
        return redirect("defects", pk=defect.unit_id)
    page = {
        "home": defect.unit,
        "defect": defect,
        "form": form,
        "evidence": evidence_of([defect.pk])[defect.pk],
    }
    return render(request, "inspections/evidence_add.html", page, status=400 if form.errors else 200)


def _kept(request: HttpRequest, form: EvidenceForm, defect: Defect) -> bool:
    """Is it kept? A refusal becomes an error of the form."""
    try:
        pieces = service.evidence_add_all(
            defect.pk,
            **form.brought(),
            accepted=files_from(request, "uploads", "photo"),
            actor=request.user,
            moment=clock.moment(),
        )
    except (ValidationError, NotAllowed) as refused:
        form.add_error(None, refused.messages if isinstance(refused, ValidationError) else str(refused))
        return False
    many = "1 piece" if len(pieces) == 1 else f"{len(pieces)} pieces"
    messages.success(request, f"Kept: {many} of proof for ‘{defect.title or defect.get_code_display()}’.")
    return True


@require_http_methods(["GET", "HEAD", "POST"])
def evidence_withdraw(request: HttpRequest, pk: int) -> HttpResponse:
    piece = _piece_or_404(request, pk, to="add_evidence")
    form = WithdrawForm(request.POST or None)
    status = 200
    if request.method == "POST" and form.is_valid():
        try:
            service.evidence_withdraw(
                piece.pk, why=form.cleaned_data["why"], actor=request.user, moment=clock.moment()
            )
        except (ValidationError, NotAllowed) as refused:
            form.add_error(None, refused.messages if isinstance(refused, ValidationError) else str(refused))
            status = 409
        else:
            messages.success(request, f"Withdrawn: ‘{piece}’. It stays on record.")
            return redirect("defects", pk=piece.defect.unit_id)
    page = {"home": piece.defect.unit, "piece": piece, "form": form}
    return render(request, "inspections/evidence_withdraw.html", page, status=status)


@require_safe
def evidence_preview(request: HttpRequest, pk: int) -> HttpResponse:
    """To look at in the page; `?size=small` for the small picture."""
    return to_look_at(request, _document(request, pk))


@require_safe
def evidence_original(request: HttpRequest, pk: int) -> HttpResponse:
    return as_it_came(request, _document(request, pk))


def _document(request: HttpRequest, pk: int) -> Document:
    with_file: Any = Evidence.objects.filter(document__isnull=False).select_related("document")
    document: Document = access.get_or_404(with_file, request.user, pk=pk).document
    return document


def _piece_or_404(request: HttpRequest, pk: int, *, to: str) -> Evidence:
    access.require(request.user, to)
    pieces = Evidence.objects.select_related("document", "defect__unit__building", "defect__unit__landlord")
    piece: Evidence = access.get_or_404(pieces, request.user, pk=pk)
    return piece
