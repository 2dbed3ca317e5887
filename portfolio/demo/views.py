"""The pages of kept mail. They exist in the demonstration only, for whoever is signed in."""

from django.conf import settings
from django.core.paginator import Paginator
from django.http import FileResponse, Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from portfolio.demo import mail

PER_PAGE = 50


@require_safe
def mail_list(request: HttpRequest) -> HttpResponse:
    page = Paginator(mail.names(settings.DEMO_MAIL), PER_PAGE).get_page(request.GET.get("page"))
    messages = [mail.read(settings.DEMO_MAIL, name) for name in page]
    return render(request, "demo/mail_list.html", {"page": page, "kept": messages})


@require_safe
def mail_message(request: HttpRequest, name: str) -> HttpResponse:
    try:
        message = mail.read(settings.DEMO_MAIL, name)
    except FileNotFoundError as error:
        raise Http404 from error
    return render(request, "demo/mail_message.html", {"mail": message})


@require_safe
def mail_file(request: HttpRequest, name: str) -> FileResponse:
    try:
        path = mail.path_of(settings.DEMO_MAIL, name)
    except FileNotFoundError as error:
        raise Http404 from error
    return FileResponse(
        path.open("rb"), as_attachment=True, filename=path.name, content_type="message/rfc822"
    )
