"""Files are served here only, to those who may see them: originals as downloads, copies made here to look at."""

import logging

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils.http import content_disposition_header
from django.views.decorators.http import require_safe

from portfolio import access
from portfolio.documents import open_bytes
from portfolio.documents.preview import EDGE, NoPreview, preview_of
from portfolio.models import Document

log = logging.getLogger(__name__)
MISSING = "The file is missing from where files are kept. Tell whoever runs this service."


@require_safe
def document(request: HttpRequest, pk: int) -> HttpResponse:
    access.require(request.user, "see")
    return as_it_came(request, access.get_or_404(Document.objects.all(), request.user, pk=pk))


def as_it_came(request: HttpRequest, found: Document) -> HttpResponse:
    """The original, byte for byte, as a download. The caller has checked that it may be seen."""
    try:
        content = open_bytes(found)
    except FileNotFoundError:
        log.error("document %s is gone from the store", found.pk)
        return render(request, "portfolio/file_not_shown.html", {"why": MISSING}, status=500)
    headers = {
        "Content-Disposition": content_disposition_header(True, found.name) or "attachment",
        "X-Content-Type-Options": "nosniff",
        "Content-Security-Policy": "default-src 'none'; sandbox",
        "Cache-Control": "private, no-store",
    }
    return HttpResponse(content, content_type=found.media_type, headers=headers)


def to_look_at(request: HttpRequest, found: Document) -> HttpResponse:
    """The copy for looking at, shown in the page; `?size=small` for a small picture. The caller has checked access."""
    size = request.GET.get("size", "page")
    if size not in EDGE:
        raise Http404
    try:
        content, media_type = preview_of(found, size)
    except NoPreview as broken:
        return render(request, "portfolio/file_not_shown.html", {"why": broken}, status=422)
    headers = {
        "Content-Disposition": "inline",
        "X-Content-Type-Options": "nosniff",
        "Content-Security-Policy": "default-src 'none'; sandbox",
        "Cache-Control": "private, max-age=600",
    }
    return HttpResponse(content, content_type=media_type, headers=headers)
