"""The page behind the link of a job: no log-in, one job, nothing else. Looking at it changes nothing.

Whoever has the address may answer; no cookie says who they are. So it is no use to another site to send a form here,
and the check against that is left out: pages that tell nobody their address (`no-referrer`) could not pass it.
"""

import hashlib
from collections.abc import Callable

from django.contrib import messages
from django.contrib.auth.decorators import login_not_required
from django.contrib.auth.models import AnonymousUser
from django.core.exceptions import ValidationError
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.shortcuts import render
from django.urls import reverse
from django.views.decorators.csrf import csrf_exempt
from django.views.decorators.http import require_http_methods, require_safe

from inspections.models import Evidence, Job, JobLink
from inspections.selectors.job_parts import dangers, first_due
from inspections.selectors.jobs import counted, day_words, state_of
from inspections.services.defects import NotAllowed
from inspections.services.job_mail import live_parts
from inspections.services.jobs import JobOver, live_link
from inspections.views.job_link_acts import Faulty, act, cards, whole_forms
from portfolio import clock
from portfolio.views.documents import to_look_at
from portfolio.views.limits import WINDOW, Guesses, times, too_many

MOST_SENT = 100
"""What one link may send in WINDOW: enough for a long job, too little to fill a disk or a letter box."""
GUESSES = Guesses("job-link")
HEADERS = {
    "Referrer-Policy": "no-referrer",
    "X-Robots-Tag": "noindex, nofollow, noarchive",
    "Cache-Control": "no-store",
}
View = Callable[[HttpRequest, str, JobLink, clock.Moment], HttpResponse]


@login_not_required
@csrf_exempt
@require_http_methods(["GET", "HEAD", "POST"])
def job_link(request: HttpRequest, token: str) -> HttpResponse:
    return _guarded(request, token, _answered if request.method == "POST" else _page)


@login_not_required
@require_safe
def job_link_evidence(request: HttpRequest, token: str, number: int) -> HttpResponse:
    """A photo or paper of this job, to look at."""

    def shown(request: HttpRequest, token: str, link: JobLink, moment: clock.Moment) -> HttpResponse:
        pieces = Evidence.objects.filter(document__isnull=False, withdrawn_at=None, pk=number)
        mine = pieces.filter(defect__items__job=link.job, defect__items__ended_at=None).select_related(
            "document"
        )
        piece = mine.first()
        if piece is None or not (piece.stage == "before" or piece.contractor_id == link.job.contractor_id):
            return _dead(request)
        return to_look_at(request, piece.document)  # type: ignore[arg-type]

    return _guarded(request, token, shown)


def _guarded(request: HttpRequest, token: str, view: View) -> HttpResponse:
    moment = clock.moment()
    if GUESSES.over(request, _digest(token)):
        return _private(too_many(request, WINDOW))
    link = live_link(token, moment)
    if link is None:
        GUESSES.was_wrong(request)
        return _private(_dead(request))
    GUESSES.was_right(request, _digest(token))
    if request.method == "POST" and times(f"job-link-sent:{link.pk}", WINDOW) > MOST_SENT:
        return _private(too_many(request, WINDOW))
    return _private(view(request, token, link, moment))


def _digest(token: str) -> str:
    return hashlib.sha256(token.encode()).hexdigest()


def _private(answer: HttpResponse) -> HttpResponse:
    for name, value in HEADERS.items():
        answer[name] = value
    return answer


def _dead(request: HttpRequest) -> HttpResponse:
    """The same for a link that never was, is closed, replaced or past its day."""
    return render(request, "inspections/link_dead.html", {"user": AnonymousUser()}, status=404)


def _page(
    request: HttpRequest,
    token: str,
    link: JobLink,
    moment: clock.Moment,
    *,
    faulty: Faulty | None = None,
    fault: str = "",
    status: int = 200,
) -> HttpResponse:
    job = counted(Job.objects.filter(pk=link.job_id)).get()
    parts = live_parts(job, moment)
    page = {
        # The page is the contractor's, whoever is logged in where it is opened.
        "user": AnonymousUser(),
        "job": job,
        "link": link,
        "token": token,
        "state": state_of(job),
        "day": day_words(job),
        "homes": cards(parts, faulty, moment),
        "dangers": dangers(parts),
        "due": first_due(parts),
        "fault": fault,
        "forms": whole_forms(job, faulty),
    }
    return render(request, "inspections/link.html", page, status=status)


def _answered(request: HttpRequest, token: str, link: JobLink, moment: clock.Moment) -> HttpResponse:
    job = link.job
    if request.user.is_authenticated and request.user.agency_id == job.agency_id:
        fault = (
            f"You are logged in as {request.user} of {job.agency}, and what is sent from this page counts as said "
            f"by {job.contractor}. Log out first, or record it on the page of the defect."
        )
        return _page(request, token, link, moment, fault=fault, status=403)
    try:
        done = act(request, link, moment)
    except Faulty as faulty:
        return _page(request, token, link, moment, faulty=faulty, status=400)
    except JobOver as over:
        if live_link(token, moment) is None:
            return _dead(request)
        return _page(request, token, link, moment, fault=str(over), status=409)
    except NotAllowed as refused:
        return _page(request, token, link, moment, fault=str(refused), status=409)
    except ValidationError as wrong:
        return _page(request, token, link, moment, fault=" ".join(wrong.messages), status=400)
    if live_link(token, moment) is None:
        return render(
            request, "inspections/link_done.html", {"user": AnonymousUser(), "job": job, "says": done.says}
        )
    messages.success(request, done.says)
    return HttpResponseRedirect(f"{reverse('job_link', args=[token])}{done.anchor}")
