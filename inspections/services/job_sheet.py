"""The job sheet: a job on paper, for whoever goes there. Made of what is given alone; nothing is fetched."""

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from django.conf import settings
from django.template.loader import render_to_string

from inspections.cautions import LIMITS
from inspections.models import Job
from inspections.selectors.job_parts import Part, dangers, lines_in
from inspections.selectors.jobs import day_words
from portfolio.clock import Moment
from portfolio.documents.preview import NoPreview, preview_of

MOST_PHOTOS = 24
MOST_PHOTOS_OF_ONE = 3
STYLE = Path(settings.BASE_DIR) / "templates" / "pdf" / "job_sheet.css"


def job_sheet(job: Job, parts: Sequence[Part], *, moment: Moment) -> bytes:
    """The sheet as PDF/UA-1 bytes."""
    photos = _photos(parts)
    page = {
        "job": job,
        "homes": [
            (part, [(line, [one[0] for one in photos.get(line.defect.pk, ())]) for line in part.lines])
            for part in parts
        ],
        "many": len(lines_in(parts)),
        "dangers": dangers(parts),
        "day": day_words(job),
        "limits": LIMITS,
        "made_on": moment.day,
    }
    given = {address: (content, kind) for shown in photos.values() for address, content, kind in shown}
    return printed(render_to_string("pdf/job_sheet.html", page), given)


def printed(page: str, given: Mapping[str, tuple[bytes, str]] | None = None) -> bytes:
    """A page of HTML as PDF/UA-1 bytes, in the style of the job sheet. `given`: bytes and media type by address."""
    from weasyprint import CSS, HTML

    fetcher = _fetcher(given or {})
    style = CSS(string=STYLE.read_text(encoding="utf-8"), url_fetcher=fetcher)
    html = HTML(string=page, url_fetcher=fetcher)
    return bytes(html.write_pdf(stylesheets=[style], pdf_variant="pdf/ua-1"))


def _photos(parts: Sequence[Part]) -> dict[int, list[tuple[str, bytes, str]]]:
    """A few small pictures of each defect before the work: address, bytes and media type, by the defect."""
    found: dict[int, list[tuple[str, bytes, str]]] = {}
    left = MOST_PHOTOS
    for line in lines_in(parts):
        pictures = [piece.evidence for piece in line.before if piece.picture]
        for evidence in pictures[: min(MOST_PHOTOS_OF_ONE, left)]:
            document: Any = evidence.document
            try:
                content, kind = preview_of(document, "small")
            except NoPreview:
                continue  # the page of the job says that it cannot be shown
            found.setdefault(line.defect.pk, []).append((f"photo:{evidence.pk}", content, kind))
            left -= 1
    return found


def _fetcher(given: Mapping[str, tuple[bytes, str]]) -> Any:
    """Gives out what was given, and refuses every other address. Any miss is a fault of ours, so it stops the sheet."""
    from weasyprint import URLFetcher
    from weasyprint.urls import FatalURLFetchingError, URLFetcherResponse

    class Given(URLFetcher):
        def fetch(self, url: str, headers: Any = None) -> Any:
            if url not in given:
                raise FatalURLFetchingError(f"not given to the sheet: {url}")
            content, kind = given[url]
            return URLFetcherResponse(url, body=content, headers={"Content-Type": kind})

    return Given()
