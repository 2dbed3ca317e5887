"""What a contractor gets: the mail, the sheet and the entry for a calendar, each read back as others would read it."""

import io
import re
import subprocess
from datetime import UTC, date, datetime, time
from email import policy
from email.message import EmailMessage
from email.parser import BytesParser
from uuid import uuid4

import icalendar
import pikepdf
import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from PIL import Image

from inspections.models import Defect, Job
from inspections.selectors.job_parts import papers_of, parts_of, works_fitting
from inspections.services import job_sheet as sheets
from inspections.services import jobs
from inspections.services.evidence import evidence_add
from inspections.services.job_calendar import invitation, uid
from inspections.services.job_mail import live_parts
from portfolio.documents import accept
from tests.factories import DAY, at, make_agency, make_user
from tests.inspections.job_cases import file_of, mail_of, make_defects, make_firm, send

pytestmark = pytest.mark.django_db
MARGIN = 40
"""Points: nothing is printed nearer to the edge of the paper."""


@pytest.fixture
def agency():
    return make_agency("Latchford Lettings")


@pytest.fixture
def agent(agency):
    return make_user(agency, name="Ann Agent", email="ann@example.org")


@pytest.fixture
def firm(agency):
    return make_firm(agency, "Wire & Sons <Ltd>")


def with_photos(defect, agent, count=1):
    for number in range(count):
        out = io.BytesIO()
        Image.new("RGB", (1200, 900), (200, number, 30)).save(out, "JPEG")
        accepted = accept(SimpleUploadedFile(f"before {number}.jpg", out.getvalue()))
        evidence_add(defect.pk, key=uuid4(), stage="before", accepted=accepted, actor=agent, moment=at())


def as_read(message) -> EmailMessage:
    """The message as a mail program would get it."""
    mail = EmailMessage(policy=policy.SMTP)
    mail["Subject"], mail["To"], mail["Message-ID"] = message.subject, message.to_email, message.message_id
    mail.set_content(message.text)
    mail.add_alternative(message.html, subtype="html")
    for file in message.attachments.all():
        kind, _, more = file.media_type.partition(";")
        maintype, subtype = kind.split("/")
        params = dict(part.strip().split("=") for part in more.split(";") if part.strip())
        mail.add_attachment(
            bytes(file.content), maintype=maintype, subtype=subtype, filename=file.name, params=params
        )
    read = BytesParser(EmailMessage, policy=policy.default).parsebytes(mail.as_bytes())
    assert isinstance(read, EmailMessage)
    return read


def test_the_mail_says_first_what_to_do_then_what_is_wrong(agency, agent, firm, monkeypatch):
    monkeypatch.setattr("inspections.services.job_mail.job_sheet", lambda *_, **__: b"%PDF-1.7 sheet")
    defects = make_defects(agency, "C1", "C2")
    Defect.objects.filter(pk=defects[1].pk).update(
        title="Socket <loose> & “hot”", place="ring 3", note="Buzzes."
    )
    job, token = send(firm, defects, agent, access_notes="Key at no 4.\nMind the dog.")
    mail = as_read(mail_of(job, "sent"))
    assert (
        mail["Subject"].strip() == "Danger: Job 1: 2 defects, Flat 2, 9 Tannery Row, late since 20 Nov 2026"
    )
    text = mail.get_body(("plain",)).get_content().replace("\r\n", "\n")
    assert text.splitlines()[0].startswith("If there is smoke")
    assert f"http://localhost:8000/j/{token}/" in text.splitlines()
    for said in (
        "Socket <loose> & “hot”", "Where: ring 3", "Buzzes.", "Key at no 4.\nMind the dog.", "Oxcombe, ZZ1 1ZZ",
        "C2: potentially dangerous", "By 4 December 2026", "Ann Agent (ann@example.org) for Latchford Lettings",
        "until 23 February 2027",
    ):  # fmt: skip
        assert said in text
    page = mail.get_body(("html",)).get_content()
    assert "Socket &lt;loose&gt; &amp; “hot”" in page
    assert f'href="http://localhost:8000/j/{token}/"' in page
    assert "<script" not in page
    assert "src=" not in page
    sheet, calendar = mail.iter_attachments()
    assert (sheet.get_filename(), sheet.get_content_type()) == ("job-1.pdf", "application/pdf")
    assert (calendar.get_content_type(), calendar.get_param("method")) == ("text/calendar", "REQUEST")


def test_a_mail_without_danger_begins_with_the_link(agency, agent, firm, monkeypatch):
    monkeypatch.setattr("inspections.services.job_mail.job_sheet", lambda *_, **__: b"%PDF-1.7 sheet")
    job, _ = send(firm, make_defects(agency, "C2"), agent)
    message = mail_of(job, "sent")
    assert message.subject.startswith("Job 1: 1 defect,")
    assert message.text.startswith("Open this link, say whether you take the job, and propose a day:\nhttp")
    assert message.urgent is False


def test_a_name_cannot_add_lines_to_the_head_of_a_mail(agency, agent, firm, monkeypatch):
    monkeypatch.setattr("inspections.services.job_mail.job_sheet", lambda *_, **__: b"%PDF-1.7 sheet")
    job, _ = send(firm, make_defects(agency, "C2", label="Flat\nBcc: all@example.org"), agent)
    assert "\n" not in mail_of(job, "sent").subject


def event(content: bytes):
    (found,) = icalendar.Calendar.from_ical(content).walk("VEVENT")
    return found


def calendar(job, **more) -> bytes:
    job = Job.objects.get(pk=job.pk)
    return invitation(job, live_parts(job, at()), moment=at(), **more)


@pytest.fixture
def job(agency, agent, firm, monkeypatch):
    monkeypatch.setattr("inspections.services.job_mail.job_sheet", lambda *_, **__: b"%PDF-1.7 sheet")
    return send(firm, make_defects(agency, "C2"), agent)[0]


def test_before_a_day_is_proposed_the_entry_is_the_last_day(job):
    found = event(file_of(mail_of(job, "sent"), "visit.ics"))
    assert found["dtstart"].dt == date(2026, 12, 4)
    assert (found["sequence"], found["status"], found["transp"]) == (0, "TENTATIVE", "TRANSPARENT")
    assert str(found["summary"]) == "Last day for job 1: 1 defect, Flat 2, 9 Tannery Row"
    assert found["organizer"].params["CN"] == "Latchford Lettings"
    assert str(found["attendee"]) == "mailto:wiresonsltd@example.org"


def test_what_is_late_is_put_on_today(agency, agent, firm, job):
    late, _ = send(firm, make_defects(agency, "C1"), agent)
    assert event(calendar(late))["dtstart"].dt == DAY


def test_without_any_day_there_is_no_entry(agency, agent, firm, job):
    no_day, _ = send(firm, make_defects(agency, "C2", found=None), agent)
    assert [file.name for file in mail_of(no_day, "sent").attachments.all()] == ["job-2.pdf"]
    assert calendar(no_day) is None


@pytest.mark.parametrize(
    ("day", "utc_hour"), [(date(2026, 12, 1), 9), (date(2027, 6, 1), 8)], ids=["winter", "summer"]
)
def test_a_proposed_day_is_london_time_and_keeps_its_uid(job, day, utc_hour):
    first = event(file_of(mail_of(job, "sent"), "visit.ics"))
    jobs.job_propose_day(job.pk, day=day, start=time(9), end=time(11, 30), moment=at())
    for part in ("day:1:sender", "day:1:contractor"):
        content = file_of(mail_of(job, part), "visit.ics")
        found = event(content)
        assert found["dtstart"].params["TZID"] == "Europe/London"
        assert found["dtstart"].dt.astimezone(UTC) == datetime(
            day.year, day.month, day.day, utc_hour, tzinfo=UTC
        )
        assert (found["dtend"].dt - found["dtstart"].dt).total_seconds() == 2.5 * 3600
        assert (found["uid"], found["sequence"]) == (first["uid"], 1)
        (zone,) = icalendar.Calendar.from_ical(content).walk("VTIMEZONE")
        assert zone["tzid"] == "Europe/London"


def test_a_day_without_hours_is_a_whole_day_and_one_without_an_end_an_hour(job):
    jobs.job_propose_day(job.pk, day=date(2026, 12, 1), moment=at())
    found = event(calendar(job))
    assert (found["dtstart"].dt, found["dtend"].dt) == (date(2026, 12, 1), date(2026, 12, 2))
    jobs.job_propose_day(job.pk, day=date(2026, 12, 1), start=time(14), moment=at())
    found = event(calendar(job))
    assert (found["dtend"].dt - found["dtstart"].dt).total_seconds() == 3600
    assert found["sequence"] == 2


def test_taking_back_cancels_the_same_entry_under_a_later_sequence(job, agent):
    jobs.job_propose_day(job.pk, day=date(2026, 12, 1), moment=at())
    jobs.job_take_back(job.pk, why="Tenant away", actor=agent, moment=at())
    content = file_of(mail_of(job, "taken_back"), "visit.ics")
    assert icalendar.Calendar.from_ical(content)["method"] == "CANCEL"
    found = event(content)
    assert (found["uid"], found["sequence"], found["status"]) == (uid(job), 2, "CANCELLED")


@pytest.fixture
def sheet(agency, agent, firm, tmp_path):
    """The sheet of a job over two homes, with photos and the longest of words."""
    defects = [*make_defects(agency, "C1", "C2", label="Flat 1"), *make_defects(agency, "C3", label="Flat 9")]
    Defect.objects.filter(pk=defects[1].pk).update(title="Overlong" * 30, note="n" * 400)
    with_photos(defects[0], agent, 5)
    job = Job.objects.create(
        agency=agency, number=7, contractor=firm, sent_at=at().at, sent_by=agent, access_notes="k" * 300
    )
    parts = parts_of([defect.pk for defect in defects], firm, day=DAY)
    path = tmp_path / "sheet.pdf"
    path.write_bytes(sheets.job_sheet(job, parts, moment=at()))
    return path


def test_the_sheet_is_a_tagged_pdf_in_english_with_a_title(sheet):
    with pikepdf.open(sheet) as pdf:
        assert pdf.Root.MarkInfo.Marked
        assert str(pdf.Root.Lang).lower().startswith("en")
        with pdf.open_metadata() as meta:
            assert meta["pdfuaid:part"] == "1"
            assert meta["dc:title"] == "Job 7 for Wire & Sons <Ltd>"
        assert "/JavaScript" not in str(pdf.Root.keys())


def test_the_sheet_says_all_that_is_needed_there(sheet):
    text = subprocess.run(
        ["pdftotext", "-layout", sheet, "-"], capture_output=True, text=True, check=True
    ).stdout
    told = " ".join(text.split())
    for said in (
        "Job 7", "Danger: do this first", "If there is smoke", "Flat 1, 9 Tannery Row, Oxcombe, ZZ1 1ZZ",
        "Flat 9, 9 Tannery Row", "C3: improvement recommended", "ann@example.org", "How to get in",
        "It does not inspect, test or certify",
    ):  # fmt: skip
        assert said in told
    assert "/j/" not in told


def test_everything_on_the_sheet_lies_within_its_margins(sheet):
    boxes = subprocess.run(
        ["pdftotext", "-bbox", sheet, "-"], capture_output=True, text=True, check=True
    ).stdout
    words = [line for line in boxes.splitlines() if "<word" in line]
    assert len(words) > 150
    for line in words:
        found = {side: float(re.search(rf'{side}="([0-9.]+)"', line)[1]) for side in ("xMin", "xMax")}
        assert found["xMin"] >= MARGIN, line
        assert found["xMax"] <= 595.3 - MARGIN, line


def test_a_few_small_photos_are_on_the_sheet_and_no_more(sheet):
    with pikepdf.open(sheet) as pdf:
        images = {image.objgen: image for page in pdf.pages for image in page.get_images().values()}
        assert len(images) == sheets.MOST_PHOTOS_OF_ONE
        assert all(max(int(image.Width), int(image.Height)) <= 320 for image in images.values())
    assert sheet.stat().st_size < 200_000


def test_the_sheet_fetches_nothing_that_it_was_not_given():
    from weasyprint import HTML
    from weasyprint.urls import FatalURLFetchingError

    for address in ("http://127.0.0.1:1/x.png", "file:///etc/hostname", "photo:999"):
        html = HTML(string=f'<img src="{address}" alt="x">', url_fetcher=sheets._fetcher({}))
        with pytest.raises(FatalURLFetchingError):
            html.write_pdf()


def test_what_a_title_says_is_text_on_the_sheet_and_fetches_nothing(agency, agent, firm):
    defects = make_defects(agency, "C2", title='<img src="file:///etc/passwd"><b>x')
    job = Job(agency=agency, number=1, contractor=firm, sent_at=at().at, sent_by=agent)
    parts = parts_of([defects[0].pk], firm, day=DAY)
    assert sheets.job_sheet(job, parts, moment=at()).startswith(b"%PDF")


def test_which_works_fit_a_defect_and_which_papers_they_leave(agency):
    (defect,) = make_defects(agency, "C2")
    fitting = dict(works_fitting(defect))
    assert "accessory_swap" in fitting
    assert "gas_repair" not in fitting
    assert "other_work" not in fitting
    asked = papers_of(defect, "consumer_unit", DAY).asked
    assert "eic" in {kind for ask in asked for kind in ask.kinds}
    assert papers_of(defect, "", DAY) is None
