"""The house policy of an agency: everybody in it sees it, agents change it in two steps, seeing first what it does."""

from typing import Any

from celery.exceptions import OperationalError
from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_http_methods, require_safe

from portfolio import access, clock, tasks
from portfolio.forms.policy import PolicyForm
from portfolio.law.loader import load
from portfolio.law.policy import Policy
from portfolio.models import HousePolicy
from portfolio.policy_words import differences
from portfolio.selectors.policy import policy_page
from portfolio.services.policies import HomesJoined, newest_of, policy_ask
from portfolio.services.policy_preview import MOST_COUNTED, policy_preview
from portfolio.views.home import DayForm


@require_safe
def policy(request: HttpRequest) -> HttpResponse:
    """What the agency asks beyond the law on a day, what waits to come into force, and all changes."""
    access.require(request.user, "see")
    today = clock.today()
    form = DayForm(request.GET)
    day = (form.cleaned_data["on"] if form.is_valid() else None) or today
    page = policy_page(request.user, day=day)
    return render(request, "portfolio/policy.html", {"page": page, "form": form, "day": day, "today": today})


@require_http_methods(["GET", "HEAD", "POST"])
def policy_change(request: HttpRequest) -> HttpResponse:
    """Type in what to ask, check what it would do, then ask for it."""
    access.require(request.user, "set_policy")
    user: Any = request.user
    moment = clock.moment()
    newest = newest_of(user.agency_id)
    held = newest.settings if newest else {}
    form = PolicyForm(
        request.POST or None, book=load(), day=moment.day, settings=held, seen=newest.pk if newest else 0
    )
    page: dict[str, Any] = {"form": form, "newest": newest}
    if not form.is_bound or "change" in request.POST or not form.is_valid():
        return render(request, "portfolio/policy_change.html", page)
    if "save" in request.POST and _saved(request, form, moment):
        return redirect("policy")
    wanted = Policy.of(form.settings(), load()).as_dict()
    changes = differences(held, wanted, load(), moment.day)
    if not changes:
        form.add_error(None, "Nothing here differs from what is asked already.")
    if form.errors:
        return render(request, "portfolio/policy_change.html", page)
    preview = policy_preview(user.agency_id, wanted, moment)
    page |= {"changes": changes, "preview": preview, "most": MOST_COUNTED}
    return render(request, "portfolio/policy_check.html", page)


def _saved(request: HttpRequest, form: PolicyForm, moment: clock.Moment) -> bool:
    """Is it asked for and under way? A refusal becomes an error of the form."""
    user: Any = request.user
    try:
        row = policy_ask(
            user.agency,
            form.settings(),
            why=form.cleaned_data["why"],
            seen=form.cleaned_data["seen"],
            actor=user,
            moment=moment,
        )
    except ValidationError as wrong:
        form.add_error(None, wrong.messages)
        return False
    _start(request, row)
    return True


def _start(request: HttpRequest, row: HousePolicy) -> None:
    """Hand the work to a worker; where none can be reached, do few homes at once and leave many to the hourly work."""
    task: Any = tasks.policy_apply
    try:
        task.delay(row.pk)
    except OperationalError:
        if row.agency.units.count() <= MOST_COUNTED and _done_here(row.pk):
            messages.success(request, "The house policy is in force.")
        else:
            messages.warning(
                request,
                "The house policy is kept. The worker that asks every home again cannot be reached just now; the "
                "policy comes into force when the worker is back.",
            )
    else:
        messages.success(
            request, "The house policy is kept. It comes into force as soon as every home is asked again."
        )


def _done_here(pk: int) -> bool:
    """Put it into force while the page waits; False when homes kept being taken in meanwhile."""
    try:
        return bool(tasks.policy_apply(pk))
    except HomesJoined:
        return False
