"""Adding a certificate in two steps: what it would change is shown, then it is saved. And adding files to one."""

from typing import Any

from django.contrib import messages
from django.core import signing
from django.core.exceptions import ValidationError
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_http_methods

from portfolio import access, clock, documents, words
from portfolio.facts import certificate_facts
from portfolio.forms.certificates import CertificateForm, CorrectForm, FileForm, KindForm
from portfolio.law import model as law
from portfolio.models import Certificate, Document, Unit
from portfolio.selectors.certificates import checks_of, gas_appliances, held_on_same_day, others_of_building
from portfolio.selectors.home import shown_for
from portfolio.selectors.naming import paper_words
from portfolio.services import certificates as service
from portfolio.views.home import unit_or_404

SALT = "file of a certificate to be added"
TOKEN_SECONDS = 24 * 60 * 60


@require_http_methods(["GET", "HEAD", "POST"])
def certificate_add(request: HttpRequest, pk: int) -> HttpResponse:
    unit = unit_or_404(request, pk, to="add_certificate")
    asked = KindForm(request.POST or request.GET)
    if not asked.is_valid():
        first = KindForm(initial={"kind": "eicr"})
        return render(request, "portfolio/certificate_kind.html", {"home": unit, "form": first})
    kind, moment = asked.cleaned_data["kind"], clock.moment()
    document, lost = _kept_file(request, unit)
    form = _form(request, unit, kind, document, moment)
    page = {
        "home": unit,
        "form": form,
        "kind": kind,
        "kind_words": words.CERTIFICATE[kind],
        "appliance_names": dict(form.appliances),
    }
    if form.is_bound:
        document = _new_file(request, form, moment) or document
        if lost and document is None:
            form.add_error("upload", lost)
    page |= {"document": document, "token": document and _token(request, unit, document)}
    if not form.is_bound or "change" in request.POST or not form.is_valid():
        return render(request, "portfolio/certificate_add.html", page)
    if "save" not in request.POST:
        preview = service.certificate_preview(unit.pk, form.certificate(), day=moment.day)
        also = form.also()
        held = held_on_same_day(also, form.certificate())
        page |= {
            "preview": preview,
            "raised": shown_for(unit, preview.raised),
            "also": [(name, pk in held) for pk, name in also.items()],
        }
        return render(request, "portfolio/certificate_check.html", page)
    try:
        row = service.certificate_add(
            unit.pk,
            form.certificate(),
            document=document,
            also=form.also(),
            actor=request.user,
            moment=moment,
        )
    except ValidationError as wrong:
        form.add_error(None, wrong.messages)
        return render(request, "portfolio/certificate_add.html", page)
    count = len(form.also())
    others = f", and for {count} other home{'' if count == 1 else 's'} of the building" if count else ""
    messages.success(request, f"Saved: {paper_words(row)}{others}.")
    if row.kind == "eicr" and row.outcome == "unsatisfactory" and access.may(request.user, "record_defect"):
        return redirect("observations", pk=row.pk)
    return redirect("home", pk=unit.pk)


@require_http_methods(["GET", "HEAD", "POST"])
def certificate_correct(request: HttpRequest, pk: int) -> HttpResponse:
    """Make a paper on record say what the paper says, or count no longer; always with a reason."""
    access.require(request.user, "correct_certificate")
    papers = Certificate.objects.select_related("unit__building", "unit__agency")
    paper = access.get_or_404(papers, request.user, pk=pk)
    moment = clock.moment()
    appliances = gas_appliances(paper.unit)
    form = CorrectForm(
        request.POST or None,
        initial=CorrectForm.of(paper, checks_of(paper), appliances),
        kind=paper.kind,
        appliances=appliances,
        day=moment.day,
    )
    if request.method == "POST" and form.is_valid() and _corrected(request, form, paper, moment):
        return redirect("home", pk=paper.unit_id)
    page = {"home": paper.unit, "form": form, "paper": paper_words(paper)}
    return render(request, "portfolio/certificate_correct.html", page)


def _corrected(request: HttpRequest, form: CorrectForm, paper: Certificate, moment: clock.Moment) -> bool:
    """Is it done? A refusal becomes an error of the form."""
    try:
        changed = service.certificate_correct(
            paper.pk,
            form.corrected(certificate_facts(paper, [])),
            why=form.cleaned_data["why"],
            actor=request.user,
            moment=moment,
        )
    except ValidationError as wrong:
        form.add_error(None, wrong.messages)
        return False
    messages.success(request, "The paper is corrected." if changed else "Nothing was changed.")
    return True


@require_http_methods(["GET", "HEAD", "POST"])
def document_add(request: HttpRequest, pk: int) -> HttpResponse:
    """Put one more file to a certificate."""
    access.require(request.user, "add_certificate")
    papers = Certificate.objects.select_related("unit__building", "unit__agency")
    paper = access.get_or_404(papers, request.user, pk=pk)
    form = FileForm(request.POST or None, request.FILES or None)
    if request.method == "POST" and form.is_valid():
        moment = clock.moment()
        document = _new_file(request, form, moment)
        if document is not None:
            service.document_attach(paper.pk, document, actor=request.user, moment=moment)
            messages.success(request, f"The file ‘{document.name}’ is kept with the paper.")
            return redirect("home", pk=paper.unit_id)
    page = {"home": paper.unit, "form": form, "paper": paper_words(paper)}
    return render(request, "portfolio/document_add.html", page)


def _form(
    request: HttpRequest, unit: Unit, kind: str, document: Document | None, moment: clock.Moment
) -> CertificateForm:
    return CertificateForm(
        request.POST or None,
        request.FILES or None,
        kind=kind,
        appliances=gas_appliances(unit),
        day=moment.day,
        needs_file=document is None and getattr(request.user, "role", "") == "landlord",
        others=others_of_building(unit, request.user) if kind in law.BUILDING_PAPERS else (),
    )


def _new_file(request: HttpRequest, form: Any, moment: clock.Moment) -> Document | None:
    """The file that came with this request, kept; a refused one becomes an error of the form."""
    upload = request.FILES.get("upload")
    if upload is None:
        return None
    try:
        accepted = documents.accept(upload)
    except documents.UploadRefused as refused:
        form.add_error("upload", str(refused))
        return None
    user: Any = request.user
    return documents.store(accepted, agency=user.agency, actor=user, moment=moment)


def _token(request: HttpRequest, unit: Unit, document: Document) -> str:
    """Carries a kept file from the check to the saving: for this person and this home only."""
    return signing.dumps([document.pk, unit.pk, request.user.pk], salt=SALT)


def _kept_file(request: HttpRequest, unit: Unit) -> tuple[Document | None, str]:
    """The file kept at the check step, or a sentence why it is not there any more."""
    token = request.POST.get("file", "")
    if not token:
        return None, ""
    try:
        pk, unit_pk, user_pk = signing.loads(token, salt=SALT, max_age=TOKEN_SECONDS)
    except signing.BadSignature:
        return None, "The file was not kept this long. Choose it again."
    if (unit_pk, user_pk) != (unit.pk, request.user.pk):
        return None, "The file was meant for another home. Choose it again."
    return Document.objects.get(pk=pk, agency_id=unit.agency_id), ""
