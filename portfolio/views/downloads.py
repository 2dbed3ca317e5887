"""Files made on the spot for a reader to keep: lists as CSV or as a workbook."""

from collections.abc import Iterable, Sequence
from typing import Any

from django.http import HttpResponse

from portfolio.exchange.sheets.write import CSV_TYPE, XLSX_TYPE, csv_bytes, xlsx_bytes


def sheet(
    form: str, name: str, headings: Sequence[str], rows: Iterable[Sequence[Any]], title: str
) -> HttpResponse:
    """A list as a download; `form` is csv or xlsx, `name` the file's without its ending, `title` the sheet's."""
    content = xlsx_bytes(headings, rows, title) if form == "xlsx" else csv_bytes(headings, rows)
    return download(content, form, name)


def download(content: bytes, form: str, name: str) -> HttpResponse:
    headers = {
        "Content-Disposition": f'attachment; filename="{name}.{form}"',
        "X-Content-Type-Options": "nosniff",
    }
    return HttpResponse(content, content_type=XLSX_TYPE if form == "xlsx" else CSV_TYPE, headers=headers)
