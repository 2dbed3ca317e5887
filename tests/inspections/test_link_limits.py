"""Whoever has a link, or finds one, can neither fill the disk nor the post, nor read a link in the log."""

import logging
from datetime import timedelta
from pathlib import Path
from uuid import uuid4

import pytest
from django.core.cache import cache
from django.core.files.storage import default_storage
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from django.urls import reverse

from inspections.models import Evidence, Job
from inspections.services import job_answers, jobs
from inspections.services.defects import NotAllowed
from inspections.services.evidence import evidence_add_all
from inspections.views import job_link
from notifications.models import Message
from tests.factories import DAY, at, make_agency, make_user
from tests.inspections.job_cases import make_defects, make_firm, send
from tests.inspections.test_services_evidence import photo

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("noon")]


@pytest.fixture(autouse=True)
def _no_sheet(monkeypatch):
    monkeypatch.setattr("inspections.services.job_mail.job_sheet", lambda *_, **__: b"%PDF-")


@pytest.fixture(autouse=True)
def _empty_cache():
    cache.clear()
    yield
    cache.clear()


@pytest.fixture
def sent():
    agency = make_agency()
    defects = make_defects(agency, "C2", "C2")
    job, token = send(make_firm(agency), defects, make_user(agency))
    return job, token, defects


def files_kept() -> int:
    return sum(path.is_file() for path in Path(default_storage.location).rglob("*"))


def prove(job, defect, *colours):
    return jobs.job_proof_add(
        job.pk, defect.pk, key=uuid4(), accepted=[photo(one) for one in colours], moment=at()
    )


def test_what_is_one_too_many_leaves_no_file_behind(sent, settings):
    settings.EVIDENCE_MOST = 3
    job, _, (defect, _) = sent
    prove(job, defect, "red", "green")
    held = files_kept()
    with pytest.raises(NotAllowed, match="holds at most 3"):
        prove(job, defect, "blue", "black")
    assert files_kept() == held
    assert prove(job, defect, "blue")


def test_the_same_page_sent_again_is_not_counted_twice(sent, settings):
    settings.EVIDENCE_MOST = 2
    job, _, (defect, _) = sent
    page = {"key": uuid4(), "stage": "after", "accepted": [photo("red")], "says": "", "actor": None}
    told = page | {"contractor": job.contractor, "moment": at()}
    assert evidence_add_all(defect.pk, **told) == evidence_add_all(defect.pk, **told)
    prove(job, defect, "blue")
    assert evidence_add_all(defect.pk, **told)


def test_a_job_takes_so_many_bytes_and_no_more(sent, monkeypatch):
    job, _, (one, other) = sent
    size = len(photo("red").content)
    monkeypatch.setattr(job_answers, "MOST_BYTES", 2 * size + size // 2)
    prove(job, one, "red")
    prove(job, other, "green")
    held = files_kept()
    with pytest.raises(NotAllowed, match="Ask the sender"):
        prove(job, one, "blue")
    assert (files_kept(), Evidence.objects.count()) == (held, 2)


def test_days_are_proposed_so_often_and_no_more(sent):
    """Each of them writes to two people."""
    job, _, _ = sent
    for n in range(job_answers.MOST_DAYS):
        jobs.job_propose_day(job.pk, day=DAY + timedelta(days=1 + n % 2), moment=at())
    written = Message.objects.count()
    with pytest.raises(NotAllowed, match="Ring"):
        jobs.job_propose_day(job.pk, day=DAY + timedelta(days=9), moment=at())
    assert Message.objects.count() == written
    assert Job.objects.get().sequence == job_answers.MOST_DAYS


def test_a_link_is_pressed_so_often_in_a_while_and_no_more(sent, monkeypatch):
    monkeypatch.setattr(job_link, "MOST_SENT", 2)
    url = reverse("job_link", args=[sent[1]])
    codes = [Client().post(url, {"do": "seen"}).status_code for _ in range(4)]
    assert codes == [302, 302, 429, 429]
    assert Client().get(url).status_code == 200
    assert Client(REMOTE_ADDR="192.0.2.7").post(url, {"do": "seen"}).status_code == 429


def test_no_link_is_written_into_the_log(sent, caplog):
    token, gone = sent[1], "A" * 43
    caplog.set_level(logging.DEBUG)
    url = reverse("job_link", args=[token])
    answers = [
        Client().post(url, {"do": "decline"}),
        Client().post(url, {"do": "nonsense"}),
        Client().post(url, {"do": "safe", "defect": "0"}),
        Client().put(url),
        Client().get(reverse("job_link_evidence", args=[token, 0])),
        Client().get(reverse("job_link", args=[gone])),
        Client().post(
            url,
            {
                "do": "proof",
                "defect": sent[2][0].pk,
                "key": uuid4(),
                "uploads": SimpleUploadedFile("a.jpg", b"x"),
            },
        ),
    ]
    assert {answer.status_code for answer in answers} == {400, 404, 405, 409}
    assert token not in caplog.text
    assert gone not in caplog.text
