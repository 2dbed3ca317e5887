"""Papers of a home sent by e-mail, looked at before they go; and a contractor asked to renew one."""

from datetime import date
from typing import Any

from django.contrib import messages as notices
from django.core.exceptions import ValidationError
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_http_methods

from inspections.models import Contractor
from notifications.papers import renewal
from notifications.papers.choice import PARTY
from notifications.papers.forms import PapersForm, RenewalForm
from notifications.papers.letter import Letter, Offer, letter
from notifications.papers.send import papers_send
from portfolio import clock
from portfolio.models import Unit
from portfolio.views.home import unit_or_404

get_or_post = require_http_methods(["GET", "HEAD", "POST"])


@get_or_post
def papers(request: HttpRequest, pk: int) -> HttpResponse:
    """Choose, look, send: nothing is kept before the last step."""
    unit = unit_or_404(request, pk, to="send_papers")
    moment, asked = clock.moment(), request.POST if request.method == "POST" else request.GET
    party = asked.get("party", "")
    offer = Offer(unit, party if party in PARTY else "tenant", moment)
    if request.method != "POST":
        return _choose(request, offer, PapersForm(offer=offer, initial=_preselected(request, offer)))
    form = PapersForm(request.POST, offer=offer)
    if not form.is_valid() or "change" in request.POST:
        return _choose(request, offer, form)
    try:
        if "send" in request.POST:
            key = str(form.cleaned_data["key"])
            message = papers_send(unit.pk, form.ask(), key=key, actor=request.user, moment=moment)
            notices.success(request, f"On its way to {message.to_name}, {message.to_email}.")
            return redirect("message", pk=message.pk)
        made = letter(offer, form.ask(), actor=request.user, moment=moment)
    except ValidationError as wrong:
        _add_errors(form, wrong)
        return _choose(request, offer, form)
    return _look(request, offer, form, made)


def _choose(request: HttpRequest, offer: Offer, form: PapersForm) -> HttpResponse:
    page = {
        "home": offer.unit,
        "offer": offer,
        "form": form,
        "parties": PARTY.items(),
        "of": request.GET.get("of", "")[:100],
        "not_now": [one for one in offer.answers if one.why_not],
    }
    return render(request, "notifications/papers.html", page, status=400 if form.errors else 200)


def _look(request: HttpRequest, offer: Offer, form: PapersForm, made: Letter) -> HttpResponse:
    page = {"home": offer.unit, "form": form, "letter": made, "whom": PARTY[offer.party]}
    return render(request, "notifications/papers_check.html", page)


def _preselected(request: HttpRequest, offer: Offer) -> dict[str, Any]:
    """What a link from a duty asks for: the paper, and with a council what else answers it."""
    of = request.GET.get("of", "")
    chosen = {paper.pk for paper in offer.papers if paper.ref == of}
    answers = [one for one in offer.answers if one.of == of and not one.why_not]
    proofs = {pk for one in answers for pk in one.proofs}
    return {"papers": sorted(chosen), "proofs": sorted(proofs), "answers": [one.code for one in answers]}


def _add_errors(form: Any, wrong: ValidationError) -> None:
    """Errors beside their fields, and above the form where it has no such field."""
    told = wrong.message_dict if hasattr(wrong, "error_dict") else {"": wrong.messages}
    for name, said in told.items():
        form.add_error(name if name in form.fields and not form.fields[name].widget.is_hidden else None, said)


@get_or_post
def renewal_ask(request: HttpRequest, pk: int) -> HttpResponse:
    """Choose what is to be renewed, then whom to ask; look at the mail, send it."""
    unit, moment = unit_or_404(request, pk, to="send_job"), clock.moment()
    asked = request.POST if request.method == "POST" else request.GET
    found = renewal.renewals_of(unit, moment.day)
    chosen = next((one for one in found if one.code == asked.get("code")), None)
    if chosen is None:
        return render(request, "notifications/renewals.html", {"home": unit, "renewals": found})
    if request.method == "POST" and asked.get("due") != chosen.due.isoformat():
        notices.error(request, "Its last good day changed meanwhile. Look again before you ask.")
        return redirect("home", pk=unit.pk)
    firms = renewal.choices(unit, chosen, actor=request.user, moment=moment)
    allowed = [one.contractor.pk for one in firms if not one.why_not]
    form = RenewalForm(request.POST or None, contractors=Contractor.objects.filter(pk__in=allowed))
    made = None
    if form.is_bound and form.is_valid():
        if "send" in request.POST and _asked(request, unit, chosen.code, chosen.due, form, moment):
            return redirect("home", pk=unit.pk)
        made = renewal.letter(unit, chosen, **form.cleaned_data, actor=request.user)
    page = {"home": unit, "renewal": chosen, "firms": firms, "form": form, "letter": made}
    return render(request, "notifications/renewal.html", page, status=400 if form.errors else 200)


def _asked(
    request: HttpRequest, unit: Unit, code: str, due: date, form: RenewalForm, moment: clock.Moment
) -> bool:
    said = form.cleaned_data
    try:
        message = renewal.renewal_ask(
            unit.pk,
            code,
            due,
            said["contractor"].pk,
            days=said["days"],
            access_notes=said["access_notes"],
            actor=request.user,
            moment=moment,
        )
    except ValidationError as wrong:
        form.add_error(None, wrong.messages)
        return False
    notices.success(request, f"{message.to_name} is asked. An answer reaches you by e-mail.")
    return True
