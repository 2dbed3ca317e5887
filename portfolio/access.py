"""Who may see what, and who may do what. Absent and forbidden look the same: 404.

Every model that belongs to an agency says by which path (`agency_path`) and by which path a landlord owns it
(`landlord_path`); `visible_to(user)` filters by them. What a role may do is one table, `MAY`.
"""

from typing import Any, Self

from allauth.account.adapter import DefaultAccountAdapter
from allauth.mfa.adapter import DefaultMFAAdapter
from allauth.mfa.utils import is_mfa_enabled
from django.conf import settings
from django.contrib import messages
from django.db import models
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect

MAY: dict[str, frozenset[str]] = {
    "agent": frozenset(
        {
            "see",
            "add_certificate",
            "correct_certificate",
            "record_defect",
            "claim_done",
            "edit_home",
            "mark",
            "import",
            "export",
            "set_policy",
            "make_safe",
            "add_evidence",
            "see_jobs",
            "see_messages",
            "send_papers",
            "set_lead_times",
            "send_job",
            "manage_people",
        }  # fmt: skip
    ),
    "landlord": frozenset({"see", "add_certificate", "claim_done", "make_safe", "add_evidence", "export"}),
    "inspector": frozenset(
        {
            "see",
            "add_certificate",
            "correct_certificate",
            "record_defect",
            "claim_done",
            "make_safe",
            "add_evidence",
            "confirm",
            "recode",
            "edit_home",
            "export",
            "see_jobs",
        }  # fmt: skip
    ),
}


class OwnedQuerySet(models.QuerySet):
    """A queryset that can be narrowed to what a user may see."""

    def visible_to(self, user: Any) -> Self:
        if not (user.is_authenticated and user.is_active and user.agency_id):
            return self.none()
        model: Any = self.model
        mine = self.filter(**{model.agency_path: user.agency_id})
        if user.role == "landlord":
            if user.landlord_id is None:
                return self.none()
            owned = model._base_manager.filter(**{model.landlord_path: user.landlord_id})
            return mine.filter(pk__in=owned.values("pk"))
        return mine


def may(user: Any, what: str) -> bool:
    return user.is_authenticated and what in MAY.get(user.role, frozenset())


def require(user: Any, what: str) -> None:
    """Raises Http404 unless the user's role may do it."""
    if not may(user, what):
        raise Http404


def get_or_404(queryset: OwnedQuerySet, user: Any, **lookup: Any) -> Any:
    """The one object the user may see, or 404."""
    try:
        return queryset.visible_to(user).get(**lookup)
    except (queryset.model.DoesNotExist, ValueError, TypeError) as absent:
        raise Http404 from absent


WRONG_CODE = "That code does not fit. Codes change every half minute: give the one that shows now."


class AccountAdapter(DefaultAccountAdapter):
    error_messages = DefaultAccountAdapter.error_messages | {
        "email_password_mismatch": "This address and this password do not go together.",
        "enter_current_password": "This is not the password you log in with now.",
        "incorrect_password": "This is not the password you log in with now.",
        "incorrect_code": WRONG_CODE,
        "too_many_login_attempts": "There were too many tries. Wait a few minutes, then try again.",
        "rate_limited": "There were too many tries. Wait a few minutes, then try again.",
    }

    def is_open_for_signup(self, request: HttpRequest) -> bool:
        """Agencies make their own users; nobody signs up."""
        return False


class SecondFactorAdapter(DefaultMFAAdapter):
    error_messages = DefaultMFAAdapter.error_messages | {"incorrect_code": WRONG_CODE}


class SecondFactorMiddleware:
    """Sends a user whose role needs a second factor to set one up before anything else is shown."""

    allowed_prefixes = ("/account/", "/static/")

    def __init__(self, get_response: Any) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        user = request.user
        if (
            user.is_authenticated
            and user.role in settings.SECOND_FACTOR_ROLES
            and not request.path.startswith(self.allowed_prefixes)
            and not is_mfa_enabled(user)
        ):
            messages.info(
                request, "Set up a second factor first: an app on your phone that shows a six-digit code."
            )
            return redirect("mfa_activate_totp")
        return self.get_response(request)
