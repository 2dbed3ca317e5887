"""How a landlord is reached, for letting agents."""

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_http_methods

from notifications import outbox
from portfolio import access, clock
from portfolio.forms.landlords import ReachForm
from portfolio.models import Landlord
from portfolio.services.landlords import landlord_reach


@require_http_methods(["GET", "HEAD", "POST"])
def landlord_change(request: HttpRequest, pk: int) -> HttpResponse:
    access.require(request.user, "manage_people")
    landlord: Landlord = access.get_or_404(Landlord.objects.all(), request.user, pk=pk)
    form = ReachForm(request.POST or None, initial={"email": landlord.email, "phone": landlord.phone})
    if form.is_bound and form.is_valid():
        try:
            landlord_reach(landlord.pk, **form.cleaned_data, actor=request.user, moment=clock.moment())
        except ValidationError as wrong:
            form.add_error(None, wrong.messages)
        else:
            messages.success(request, f"Recorded: how {landlord} is reached.")
            return redirect("landlord_change", pk=landlord.pk)
    refused = outbox.refused(landlord.agency_id, [landlord.email]).get(landlord.email, "")
    page = {"landlord": landlord, "form": form, "refused": refused}
    return render(request, "portfolio/landlord.html", page, status=400 if form.errors else 200)
