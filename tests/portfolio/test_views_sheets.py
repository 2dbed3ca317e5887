"""The pages of an import: upload, watch, look, take, download what is wrong, leave."""

import csv
import io
from datetime import timedelta
from functools import partial
from typing import Any

import pytest
from celery.exceptions import OperationalError
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from openpyxl import load_workbook

from portfolio import tasks
from portfolio.clock import moment_of
from portfolio.exchange.sheets.write import csv_bytes, xlsx_bytes
from portfolio.models import SheetImport, Unit, User
from tests.factories import at, make_agency, make_user

pytestmark = pytest.mark.django_db
HEADINGS = ["Home ref", "Building", "Flat", "Nation", "EICR date", "Rent"]
GOOD = ["H1", "Row", "Flat 1", "England", "3/4/24", "£700"]
BAD = ["H2", "Row", "=Flat 2", "England", "31/2/2024", "£700"]


@pytest.fixture
def agent() -> User:
    return make_user(make_agency())


@pytest.fixture
def client(agent: User) -> Client:
    client = Client()
    client.force_login(agent)
    return client


@pytest.fixture
def worker(monkeypatch: Any) -> list[str]:
    """Tasks handed over are run at once, one after the other, as a worker would."""
    told: list[str] = []
    for name in ("sheet_read", "sheet_take"):
        task = getattr(tasks, name)
        monkeypatch.setattr(task, "delay", partial(_run, told, name, task))
    return told


def _run(told: list[str], name: str, task: Any, pk: int) -> None:
    told.append(name)
    task(pk)


@pytest.fixture
def no_broker(monkeypatch: Any) -> None:
    def refuse(pk: int) -> None:
        raise OperationalError("no broker")

    for task in (tasks.sheet_read, tasks.sheet_take):
        monkeypatch.setattr(task, "delay", refuse)


def _upload(client: Client, *rows: list[str], data: bytes | None = None, name: str = "old list.csv") -> Any:
    file = SimpleUploadedFile(name, csv_bytes(HEADINGS, rows) if data is None else data)
    return client.post(reverse("sheet_import_list"), {"upload": file}, follow=True)


def _page(client: Client, **query: str) -> str:
    return _text(client.get(reverse("sheet_import", args=[SheetImport.objects.latest("pk").pk]), query))


def _text(response: Any) -> str:
    return " ".join(response.content.decode().split())


def _post(client: Client, name: str) -> Any:
    return client.post(reverse(name, args=[SheetImport.objects.latest("pk").pk]), follow=True)


def test_a_list_is_shown_row_by_row_before_anything_is_stored(client: Client, worker: list[str]) -> None:
    page = _text(_upload(client, GOOD, BAD))
    assert worker == ["sheet_read"]
    assert "New home" in page
    assert "E3</strong> “31/2/2024” is a day that does not exist" in page
    assert "“3/4/24” is read as 3 Apr 2024" in page
    assert "“Rent”" in page
    assert "Take the 1 good row<" in page
    assert not Unit.objects.exists()


def test_taking_the_good_rows_stores_them_and_says_so(client: Client, worker: list[str]) -> None:
    _upload(client, GOOD, BAD)
    page = _text(_post(client, "sheet_take"))
    assert worker == ["sheet_read", "sheet_take"]
    assert "Taken in: 1 new, 0 changed." in page
    assert "Take the" not in page
    assert Unit.objects.get().ref == "H1"


def test_pressing_take_twice_takes_once(client: Client, worker: list[str]) -> None:
    _upload(client, GOOD)
    _post(client, "sheet_take")
    assert "nothing left to take in" in _text(_post(client, "sheet_take"))
    assert worker.count("sheet_take") == 1


def test_a_get_never_takes_anything(client: Client, worker: list[str]) -> None:
    _upload(client, GOOD)
    pk = SheetImport.objects.get().pk
    for name in ("sheet_take", "sheet_leave", "sheet_again"):
        assert client.get(reverse(name, args=[pk])).status_code == 405
    assert SheetImport.objects.get().state == "ready"


def test_leaving_it_stores_nothing(client: Client, worker: list[str]) -> None:
    _upload(client, GOOD)
    assert "left aside" in _text(_post(client, "sheet_leave"))
    assert "nothing left" in _text(_post(client, "sheet_take"))
    assert not Unit.objects.exists()


def test_progress_shows_with_and_without_scripts(client: Client, monkeypatch: Any) -> None:
    monkeypatch.setattr(tasks.sheet_read, "delay", lambda pk: None)
    _upload(client, GOOD)
    SheetImport.objects.update(done=500, total=10_000)
    page = _page(client)
    assert "500 of 10000 rows" in page
    assert '<noscript><meta http-equiv="refresh" content="3"></noscript>' in page
    assert 'hx-trigger="every 2s"' in page
    assert "Take the" not in page


def test_a_page_that_is_done_stops_asking(client: Client, worker: list[str]) -> None:
    _upload(client, GOOD)
    assert "every 2s" not in _page(client)
    assert "refresh" not in _page(client)


@pytest.mark.parametrize(("minutes", "offered"), [(1, False), (2, False), (3, True)])
def test_work_that_seems_lost_can_be_started_again(
    client: Client, monkeypatch: Any, time_machine: Any, minutes: int, offered: bool
) -> None:
    started: list[int] = []
    monkeypatch.setattr(tasks.sheet_read, "delay", started.append)
    time_machine.move_to(at().at, tick=False)
    _upload(client, GOOD)
    time_machine.move_to(moment_of(at().at + timedelta(minutes=minutes)).at, tick=False)
    assert ("Start it again" in _page(client)) is offered
    _post(client, "sheet_again")
    assert len(started) == 2
    assert "Start it again" not in _page(client)


def test_without_a_broker_a_small_list_is_read_and_taken_at_once(client: Client, no_broker: None) -> None:
    assert "Take the 1 good row<" in _text(_upload(client, GOOD))
    assert "Taken in: 1 new" in _text(_post(client, "sheet_take"))


def test_without_a_broker_a_large_list_waits_and_the_page_says_so(client: Client, no_broker: None) -> None:
    page = _text(_upload(client, *[[f"H{n}", *GOOD[1:]] for n in range(3000)]))
    assert "cannot be reached just now" in page
    assert SheetImport.objects.get().state == "reading"


def test_a_file_that_is_no_list_says_what_to_do(client: Client, worker: list[str]) -> None:
    page = _text(_upload(client, data=b"%PDF-1.7", name="scan.pdf"))
    assert "This is a PDF, not a spreadsheet." in page
    assert "Take the" not in page


def test_an_empty_or_too_large_file_is_refused_on_the_form(client: Client, settings: Any) -> None:
    settings.UPLOAD_MAX_BYTES = 10
    assert "limit" in _text(_upload(client, GOOD))
    assert "empty" in _text(_upload(client, data=b""))
    assert not SheetImport.objects.exists()


def test_rows_can_be_narrowed_to_one_state_and_paged(client: Client, worker: list[str]) -> None:
    _upload(client, BAD, *[[f"H{n}", "Row", f"Flat {n}", "England", "", ""] for n in range(10, 70)])
    assert "Page 1 of 2" in _page(client)
    assert "Page 2 of 2" in _page(client, page="2")
    narrowed = _page(client, state="refused")
    assert "31/2/2024" in narrowed
    assert "Flat 10" not in narrowed
    assert "Page 1 of 2" in _page(client, state="nonsense", page="x")


def test_the_page_needs_no_more_queries_for_more_rows(client: Client, worker: list[str]) -> None:
    def queries(rows: int) -> int:
        _upload(client, *[[f"H{n}", "Row", f"Flat {n}", "England", "", ""] for n in range(rows)])
        with CaptureQueriesContext(connection) as asked:
            _page(client)
        return len(asked)

    assert queries(2) == queries(45)


def test_rows_with_faults_come_back_inert_with_what_is_wrong(client: Client, worker: list[str]) -> None:
    _upload(client, GOOD, BAD)
    pk = SheetImport.objects.get().pk
    response = client.get(reverse("sheet_faults", args=[pk, "csv"]))
    headings, row = csv.reader(io.StringIO(response.content.decode("utf-8-sig")))
    assert headings == [*HEADINGS, "What is wrong"]
    assert row[:6] == ["H2", "Row", "'=Flat 2", "England", "31/2/2024", "£700"]
    assert "E3: “31/2/2024” is a day that does not exist" in row[6]
    assert "attachment" in response["Content-Disposition"]
    book = load_workbook(io.BytesIO(client.get(reverse("sheet_faults", args=[pk, "xlsx"])).content))
    cell = book.worksheets[0]["C2"]
    assert (cell.value, cell.data_type) == ("=Flat 2", "s")


def test_there_are_no_faulty_rows_to_download_before_the_list_is_read(
    client: Client, monkeypatch: Any
) -> None:
    monkeypatch.setattr(tasks.sheet_read, "delay", lambda pk: None)
    _upload(client, GOOD)
    assert client.get(reverse("sheet_faults", args=[SheetImport.objects.get().pk, "csv"])).status_code == 404


def test_a_workbook_with_markup_in_its_cells_is_shown_as_text(client: Client, worker: list[str]) -> None:
    row = ["H1", "<script>alert(1)</script>", "Flat 1", "<b>", "", ""]
    page = _text(_upload(client, data=xlsx_bytes(HEADINGS, [row]), name="<img src=x>.xlsx"))
    assert "<script>alert" not in page
    assert "<img src=x>" not in page
    assert "&lt;script&gt;" in page


@pytest.mark.parametrize("form", ["xlsx", "csv"])
def test_the_blank_list_can_be_downloaded_and_uploaded(client: Client, worker: list[str], form: str) -> None:
    blank = client.get(reverse("sheet_template", args=[form])).content
    page = _text(_upload(client, data=blank, name=f"blank.{form}"))
    assert "No row would add or change anything" in page


@pytest.mark.parametrize("role", ["landlord", "inspector"])
def test_only_agents_import(agent: User, role: str) -> None:
    client = Client()
    client.force_login(make_user(agent.agency, role))
    assert client.get(reverse("sheet_import_list")).status_code == 404
    assert client.get(reverse("sheet_template", args=["csv"])).status_code == 404


def test_another_agency_sees_nothing_of_it(client: Client, worker: list[str]) -> None:
    _upload(client, GOOD)
    stranger = Client()
    stranger.force_login(make_user(make_agency()))
    pk = SheetImport.objects.get().pk
    assert stranger.get(reverse("sheet_import", args=[pk])).status_code == 404
    for name in ("sheet_take", "sheet_leave", "sheet_again"):
        assert stranger.post(reverse(name, args=[pk])).status_code == 404
    assert "old list" not in _text(stranger.get(reverse("sheet_import_list")))
    assert SheetImport.objects.get().state == "ready"
