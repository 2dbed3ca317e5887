"""Bringing evidence on a page, looking at it, fetching it as it came."""

import re
from copy import deepcopy
from datetime import date
from uuid import uuid4

import pytest
from django.core.files.storage import default_storage
from django.core.files.uploadedfile import SimpleUploadedFile
from django.template.loader import render_to_string
from django.urls import reverse

from inspections.models import Evidence
from inspections.selectors.evidence import evidence_of
from inspections.services.evidence import evidence_add
from portfolio.documents.store import path_of
from portfolio.models import Document
from tests.factories import at, make_agency, make_user, signed_in
from tests.inspections.test_services_evidence import make_defect, paper_file, photo
from tests.portfolio.test_documents import pdf, picture
from tests.portfolio.test_documents_preview import acting_pdf
from tests.portfolio.test_documents_preview import photo as telling_photo

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("noon")]


@pytest.fixture(autouse=True)
def _own_store(settings, tmp_path):
    """A copy made by another test must not be found here."""
    settings.MEDIA_ROOT = tmp_path


@pytest.fixture(scope="module")
def common(in_common):
    agency = make_agency()
    return agency, make_defect(agency)


@pytest.fixture
def agency(common):
    return deepcopy(common[0])


@pytest.fixture
def defect(common):
    return deepcopy(common[1])


@pytest.fixture
def owner(agency, defect):
    return signed_in(make_user(agency, "landlord", landlord=defect.unit.landlord))


@pytest.fixture
def agent(agency):
    return signed_in(make_user(agency))


def text(response) -> str:
    return " ".join(response.content.decode().split())


def sent(*uploads: tuple[str, bytes], **changes) -> dict:
    said = {
        "key": str(uuid4()),
        "stage": "after",
        "says": "",
        "paper": "",
        "number": "",
        "dated": "",
        **changes,
    }
    return said | {"uploads": [SimpleUploadedFile(name, content) for name, content in uploads]}


def kept_file(defect, accepted):
    return evidence_add(
        defect.pk,
        key=uuid4(),
        stage="after",
        accepted=accepted,
        actor=make_user(defect.unit.agency),
        moment=at(),
    )


def test_a_landlord_brings_photos_a_film_shot_and_words_at_once(defect, owner):
    two = sent(("a.jpg", telling_photo("JPEG")), ("b.heic", telling_photo("HEIF")), says="New plate, tested.")
    two["photo"] = SimpleUploadedFile("camera.jpg", picture("JPEG"))
    response = owner.post(reverse("evidence_add", args=[defect.pk]), two, follow=True)
    assert "Kept: 4 pieces of proof for ‘Cracked socket’." in text(response)
    kept = Evidence.objects.order_by("pk")
    assert [str(piece) for piece in kept] == ["a.jpg", "b.heic", "camera.jpg", "New plate, tested."]
    assert {piece.stage for piece in kept} == {"after"}


def test_a_page_sent_twice_is_kept_once(defect, owner):
    page = {"key": str(uuid4())}
    for _ in range(2):
        owner.post(reverse("evidence_add", args=[defect.pk]), sent(("a.jpg", picture("JPEG")), **page))
    assert Evidence.objects.count() == 1


def test_a_page_has_a_key_of_its_own_and_keeps_it_when_something_is_wrong(defect, owner):
    keys = [key_of(owner.get(reverse("evidence_add", args=[defect.pk]))) for _ in range(2)]
    assert keys[0] != keys[1]
    again = owner.post(reverse("evidence_add", args=[defect.pk]), sent(key=keys[0]))
    assert key_of(again) == keys[0]
    assert again.status_code == 400
    assert "Choose a file, or write what was done or seen." in text(again)


def key_of(response) -> str:
    return re.search(r'name="key" value="([^"]+)"', response.content.decode())[1]


def test_each_file_refused_is_named_and_nothing_of_the_page_is_kept(defect, owner):
    response = owner.post(
        reverse("evidence_add", args=[defect.pk]),
        sent(
            ("good.jpg", picture("JPEG")),
            ("page.html", b"<html>"),
            ("cut.pdf", pdf()[:90]),
            ("nothing.png", b""),
        ),
    )
    assert response.status_code == 400
    page = text(response)
    for name, why in (("page.html", "is not a PDF"), ("cut.pdf", "damaged"), ("nothing.png", "is empty")):
        assert re.search(f"‘{name}’: The [^<]*{why}", page), name
    assert "None of the files is kept yet." in page
    assert "good.jpg" not in page
    assert not Evidence.objects.exists()
    assert not Document.objects.exists()


def test_a_file_of_fifty_megabytes_is_refused_by_name(defect, owner):
    response = owner.post(
        reverse("evidence_add", args=[defect.pk]), sent(("film.jpg", b"\xff\xd8\xff" + bytes(50 * 2**20)))
    )
    assert "‘film.jpg’: The file is 50 MB; the limit is 20 MB." in text(response)
    assert not Document.objects.exists()


def test_a_paper_is_brought_with_its_kind_number_and_day(defect, agent):
    paper = {"paper": "minor_works", "number": "MW 7", "dated": "2026-11-24"}
    agent.post(reverse("evidence_add", args=[defect.pk]), sent(("mw.pdf", pdf()), **paper))
    piece = Evidence.objects.get()
    assert (piece.paper, piece.number, piece.dated) == ("minor_works", "MW 7", date(2026, 11, 24))
    page = text(agent.get(reverse("evidence_add", args=[defect.pk])))
    assert "Minor electrical works certificate, number MW 7" in page


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"paper": "minor_works"}, "Give the day on the paper."),
        ({"paper": "minor_works", "dated": "2026-11-26"}, "lies in the future"),
        ({"number": "7"}, "Choose which kind of paper it is"),
        ({"stage": ""}, "Say whether it shows"),
        ({"key": "no key"}, "valid UUID"),
    ],
)
def test_what_is_wrong_is_said_on_the_page(defect, agent, changes, words):
    response = agent.post(
        reverse("evidence_add", args=[defect.pk]), sent(("a.jpg", picture("JPEG")), **changes)
    )
    assert response.status_code == 400
    assert words in text(response)
    assert not Evidence.objects.exists()


def test_a_confirmed_repair_takes_no_more_proof(agency, agent):
    shut = make_defect(agency, completed=date(2026, 11, 21), confirmed=date(2026, 11, 22))
    response = agent.post(reverse("evidence_add", args=[shut.pk]), sent(("a.jpg", picture("JPEG"))))
    assert response.status_code == 400
    assert "The repair is confirmed already" in text(response)


@pytest.mark.parametrize(("kind", "name"), [("JPEG", "p.jpg"), ("HEIF", "p.heic")])
def test_a_picture_is_looked_at_without_where_it_was_taken_and_fetched_as_it_came(defect, owner, kind, name):
    from portfolio.documents import accept
    from tests.portfolio.test_documents import upload

    original = telling_photo(kind)
    piece = kept_file(defect, accept(upload(original, name)))
    look = owner.get(reverse("evidence_preview", args=[piece.pk]), {"size": "small"})
    assert look["Content-Type"] == "image/jpeg"
    assert b"SECRET" not in look.content
    assert (look["Content-Disposition"], look["X-Content-Type-Options"]) == ("inline", "nosniff")
    assert look["Content-Security-Policy"] == "default-src 'none'; sandbox"
    assert look["Cache-Control"].startswith("private")
    whole = owner.get(reverse("evidence_original", args=[piece.pk]))
    assert whole.content == original
    assert whole["Content-Disposition"] == f'attachment; filename="{name}"'
    assert whole["X-Content-Type-Options"] == "nosniff"


def test_a_pdf_is_looked_at_without_what_acts(defect, agent):
    from portfolio.documents import accept
    from tests.portfolio.test_documents import upload

    piece = kept_file(defect, accept(upload(acting_pdf())))
    look = agent.get(reverse("evidence_preview", args=[piece.pk]))
    assert (look.status_code, look["Content-Type"]) == (200, "application/pdf")
    assert b"JavaScript" not in look.content
    assert b"JavaScript" in agent.get(reverse("evidence_original", args=[piece.pk])).content


def test_a_size_that_is_not_made_is_not_there(defect, agent):
    piece = kept_file(defect, photo())
    assert agent.get(reverse("evidence_preview", args=[piece.pk]), {"size": "vast"}).status_code == 404


def test_a_statement_has_no_file_to_show(defect, agent):
    piece = evidence_add(
        defect.pk, key=uuid4(), stage="after", accepted=None, says="Done.", actor=make_user(defect.unit.agency),
        moment=at(),
    )  # fmt: skip
    for name in ("evidence_preview", "evidence_original"):
        assert agent.get(reverse(name, args=[piece.pk])).status_code == 404


def test_a_file_lost_from_the_store_is_told_in_words(defect, agent):
    piece = kept_file(defect, photo())
    default_storage.delete(path_of(piece.document.agency_id, piece.document.sha256))
    for name, status in (("evidence_preview", 422), ("evidence_original", 500)):
        response = agent.get(reverse(name, args=[piece.pk]))
        assert response.status_code == status
        assert "missing from where files are kept" in text(response)


def test_a_file_that_cannot_be_drawn_is_told_in_words_and_can_be_fetched(defect, agent):
    piece = kept_file(defect, photo())
    Document.objects.filter(pk=piece.document_id).update(media_type="image/png")
    response = agent.get(reverse("evidence_preview", args=[piece.pk]))
    assert response.status_code == 422
    assert "download it instead" in text(response)
    assert agent.get(reverse("evidence_original", args=[piece.pk])).content == photo().content


def test_a_piece_is_withdrawn_with_a_reason_and_stays_to_be_seen(defect, agent):
    piece = kept_file(defect, photo())
    address = reverse("evidence_withdraw", args=[piece.pk])
    assert "Nothing is deleted" in text(agent.get(address))
    assert "the reason is kept" in text(agent.post(address, {"why": ""}))
    assert "Withdrawn: ‘photo.jpg’" in text(agent.post(address, {"why": "Wrong room."}, follow=True))
    page = text(agent.get(reverse("evidence_add", args=[defect.pk])))
    assert "Withdrawn: 1" in page
    assert "Wrong room." in page
    assert agent.get(reverse("evidence_original", args=[piece.pk])).content == photo().content


def test_a_landlord_cannot_withdraw_what_the_agent_brought(defect, owner):
    piece = kept_file(defect, photo())
    response = owner.post(reverse("evidence_withdraw", args=[piece.pk]), {"why": "I do not like it."})
    assert response.status_code == 409
    assert "Somebody else brought this" in text(response)
    assert not Evidence.objects.exclude(withdrawn_at=None).exists()


def test_what_people_write_is_shown_as_words(defect, agent):
    agent.post(
        reverse("evidence_add", args=[defect.pk]),
        sent(("<img src=x onerror=a>.jpg", picture("JPEG")), says="<script>alert(1)</script>"),
    )
    page = agent.get(reverse("evidence_add", args=[defect.pk])).content.decode()
    assert "<script>alert" not in page
    assert "<img src=x" not in page
    assert "&lt;script&gt;" in page


def test_the_same_part_serves_a_page_with_a_token(defect, agent, settings):
    piece, paper = kept_file(defect, photo()), kept_file(defect, paper_file())
    shown = evidence_of([defect.pk])[defect.pk]
    html = render_to_string(
        "inspections/_evidence.html",
        {"before": [], "after": shown.after, "preview_url_name": "evidence_preview"},
    )
    assert f'src="{reverse("evidence_preview", args=[piece.pk])}?size=small"' in html
    assert f'href="{reverse("evidence_preview", args=[paper.pk])}"' in html
    assert "Download" not in html
    assert "Withdraw" not in html
    settings.ROOT_URLCONF = "tests.inspections.token_urls"
    html = render_to_string(
        "inspections/_evidence.html",
        {"before": [], "after": shown.after, "preview_url_name": "by_token", "token": "t0k"},
    )
    assert f'src="/t0k/{piece.pk}/?size=small"' in html
