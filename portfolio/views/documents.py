"""Files are served here only: to those who may see them, as downloads, never shown in the page."""

from django.http import HttpRequest, HttpResponse
from django.utils.http import content_disposition_header
from django.views.decorators.http import require_safe

from portfolio import access
from portfolio.documents import open_bytes
from portfolio.models import Document


@require_safe
def document(request: HttpRequest, pk: int) -> HttpResponse:
    access.require(request.user, "see")
    found = access.get_or_404(Document.objects.all(), request.user, pk=pk)
    headers = {
        "Content-Disposition": content_disposition_header(True, found.name) or "attachment",
        "X-Content-Type-Options": "nosniff",
        "Content-Security-Policy": "default-src 'none'; sandbox",
        "Cache-Control": "private, no-store",
    }
    return HttpResponse(open_bytes(found), content_type=found.media_type, headers=headers)
