"""Evidence: kept once, told in the record, refused with a reason, relied on until withdrawn."""

from copy import deepcopy
from datetime import date
from uuid import uuid4

import pytest
from django.core.exceptions import ValidationError
from django.core.files.uploadedfile import SimpleUploadedFile

from inspections.models import Contractor, Defect, Evidence
from inspections.selectors.evidence import evidence_of
from inspections.services.defects import NotAllowed
from inspections.services.evidence import Paper, evidence_add, evidence_add_all, evidence_withdraw
from portfolio.documents import accept, open_bytes
from portfolio.law import model as law
from portfolio.models import Document, Event
from portfolio.services.events import verify
from tests.factories import at, make_agency, make_home, make_user
from tests.portfolio.test_documents import pdf

pytestmark = pytest.mark.django_db


@pytest.fixture(scope="module")
def common(in_common):
    agency = make_agency()
    return agency, make_user(agency), make_defect(agency)


@pytest.fixture
def agency(common):
    return deepcopy(common[0])


@pytest.fixture
def agent(common):
    return deepcopy(common[1])


@pytest.fixture
def contractor(agency):
    return Contractor.objects.create(agency=agency, name="Wire & Co", email="wire@example.org")


@pytest.fixture
def defect(common):
    return deepcopy(common[2])


def make_defect(agency, **facts):
    found = law.Defect("d1", "bs7671", "C2", "Cracked socket", date(2026, 11, 20), **facts)
    return Defect.objects.get(unit=make_home(agency, defects=(found,)))


def photo(colour: str = "white", name: str = "photo.jpg"):
    import io

    from PIL import Image

    out = io.BytesIO()
    Image.new("RGB", (30, 20), colour).save(out, "JPEG")
    return accept(SimpleUploadedFile(name, out.getvalue()))


def paper_file():
    return accept(SimpleUploadedFile("minor works.pdf", pdf()))


def add(defect, actor=None, **changes):
    facts = {"key": uuid4(), "stage": "after", "accepted": photo(), "actor": actor, "moment": at(), **changes}
    return evidence_add(defect.pk, **facts)


def test_a_file_is_kept_exactly_and_told_with_its_hash_and_who(defect, agent):
    piece = add(defect, agent)
    assert open_bytes(piece.document) == photo().content
    line = Event.objects.get(verb="evidence.added")
    assert line.data["sha256"] == photo().sha256
    assert line.data["by"] == str(agent)
    assert line.unit_id == defect.unit_id
    assert "photo.jpg" in line.says
    assert verify(defect.unit.agency) is None
    assert piece.history.get().history_user == agent


def test_a_contractor_is_named_though_nobody_is_logged_in(defect, contractor):
    piece = add(defect, contractor=contractor)
    assert (piece.added_by, piece.contractor) == (None, contractor)
    line = Event.objects.get(verb="evidence.added")
    assert (line.actor, line.data["by"]) == (None, "Wire & Co")


def test_a_statement_needs_no_file_but_nothing_at_all_is_refused(defect, agent):
    assert add(defect, agent, accepted=None, says=" Socket replaced. ").says == "Socket replaced."
    with pytest.raises(ValidationError, match="Choose a file, or write"):
        add(defect, agent, accepted=None, says="  ")
    assert Evidence.objects.count() == 1


def test_the_same_key_twice_is_the_same_piece(defect, agent):
    key = uuid4()
    first, again = add(defect, agent, key=key), add(defect, agent, key=key)
    assert first == again
    assert Evidence.objects.count() == Event.objects.filter(verb="evidence.added").count() == 1


@pytest.mark.parametrize(
    "changes", [{"accepted": None, "says": "x"}, {"says": "other"}, {"stage": "before"}, {"file": "red"}]
)
def test_the_same_key_with_other_content_is_refused(defect, agent, changes):
    key = uuid4()
    add(defect, agent, key=key)
    changes = {"accepted": photo(changes["file"])} if "file" in changes else changes
    with pytest.raises(ValidationError, match="before with other content"):
        add(defect, agent, key=key, **changes)
    assert Evidence.objects.count() == Document.objects.count() == 1


def test_the_same_key_for_another_defect_is_refused(agency, defect, agent):
    key = uuid4()
    add(defect, agent, key=key)
    with pytest.raises(ValidationError, match="before with other content"):
        add(make_defect(agency), agent, key=key)


def test_the_same_file_for_two_defects_is_stored_once(agency, defect, agent):
    first, second = add(defect, agent), add(make_defect(agency), agent)
    assert first.document == second.document
    assert Document.objects.count() == 1


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"paper": "minor_works"}, "Give the day"),
        ({"paper": "minor_works", "dated": date(2026, 11, 26)}, "future"),
        ({"paper": "love_letter", "dated": date(2026, 11, 25)}, "which kind"),
        ({"number": "EIC 7"}, "which kind"),
        ({"dated": date(2026, 11, 25)}, "which kind"),
        ({"paper": "minor_works", "dated": date(2026, 11, 25), "accepted": None, "says": "x"}, "file of the paper"),
        ({"stage": "during"}, "before or after"),
    ],
)  # fmt: skip
def test_what_is_incomplete_is_refused_and_nothing_is_stored(defect, agent, changes, words):
    with pytest.raises(ValidationError, match=words):
        add(defect, agent, **changes)
    assert not Evidence.objects.exists()
    assert not Document.objects.exists()
    assert not Event.objects.filter(verb="evidence.added").exists()


def test_a_paper_is_kept_with_its_kind_number_and_day(defect, agent):
    piece = add(
        defect, agent, accepted=paper_file(), paper="minor_works", number=" MW 7 ", dated=date(2026, 11, 25)
    )
    assert (piece.paper, piece.number, piece.dated) == ("minor_works", "MW 7", date(2026, 11, 25))
    assert "Minor electrical works certificate" in Event.objects.get(verb="evidence.added").says


def test_after_a_confirmation_there_is_nothing_more_to_prove(agency, agent):
    shut = make_defect(agency, completed=date(2026, 11, 21), confirmed=date(2026, 11, 22))
    with pytest.raises(NotAllowed, match="confirmed already"):
        add(shut, agent)
    assert add(shut, agent, stage="before").pk


def test_a_defect_holds_so_many_pieces_and_no_more(defect, agent, settings):
    settings.EVIDENCE_MOST = 2
    kept = [add(defect, agent, accepted=photo(colour)) for colour in ("red", "green")]
    with pytest.raises(NotAllowed, match="holds 2 pieces"):
        add(defect, agent)
    evidence_withdraw(kept[0].pk, why="Blurred.", actor=agent, moment=at())
    assert add(defect, agent).pk


def test_what_is_withdrawn_counts_for_all_that_a_defect_may_ever_have(defect, agent, settings):
    settings.EVIDENCE_EVER = 2
    for colour in ("red", "green"):
        piece = add(defect, agent, accepted=photo(colour))
        evidence_withdraw(piece.pk, why="Blurred.", actor=agent, moment=at())
    with pytest.raises(NotAllowed, match="has had 2 pieces of evidence, withdrawn ones included"):
        add(defect, agent, accepted=photo("blue"))
    assert Evidence.objects.count() == Document.objects.count() == 2


def test_a_landlord_brings_evidence_for_own_homes_only(agency, defect):
    owner = make_user(agency, "landlord", landlord=defect.unit.landlord)
    assert add(defect, owner).added_by == owner
    for stranger in (
        make_user(agency, "landlord"),
        make_user(make_agency()),
        make_user(agency, is_active=False),
    ):
        with pytest.raises(NotAllowed, match="not yours"):
            add(defect, stranger)
    elsewhere = Contractor.objects.create(agency=make_agency(), name="Far", email="far@example.org")
    with pytest.raises(NotAllowed, match="not yours"):
        add(defect, contractor=elsewhere)


def test_it_comes_from_exactly_one_of_user_and_contractor(defect, agent, contractor):
    for by in ({}, {"actor": agent, "contractor": contractor}):
        with pytest.raises(ValidationError, match="one of our people or"):
            add(defect, **by)


def test_a_page_brings_all_or_nothing(defect, agent, settings):
    settings.EVIDENCE_MOST = 2
    page = {"stage": "after", "actor": agent, "moment": at(), "says": "Both sides."}
    files = [photo("red"), photo("green")]
    with pytest.raises(NotAllowed, match="2 pieces"):
        evidence_add_all(defect.pk, key=uuid4(), accepted=files, **page)
    assert not Evidence.objects.exists()
    settings.EVIDENCE_MOST = 3
    key = uuid4()
    first = evidence_add_all(defect.pk, key=key, accepted=[*files, photo("red")], **page)
    assert first == evidence_add_all(defect.pk, key=key, accepted=files, **page)
    assert [piece.says for piece in first] == ["", "", "Both sides."]


def test_the_words_are_the_caption_of_a_single_file(defect, agent):
    page = {"stage": "after", "actor": agent, "moment": at(), "says": "New plate."}
    (piece,) = evidence_add_all(defect.pk, key=uuid4(), accepted=[photo()], **page)
    assert (piece.says, piece.document.name) == ("New plate.", "photo.jpg")


@pytest.mark.parametrize("files", [0, 2])
def test_a_paper_is_one_file(defect, agent, files):
    with pytest.raises(ValidationError, match="A paper is one file"):
        evidence_add_all(
            defect.pk, key=uuid4(), stage="after", accepted=[photo("red"), photo("green")][:files], says="x",
            paper=Paper("minor_works", "", date(2026, 11, 25)), actor=agent, moment=at(),
        )  # fmt: skip


def test_what_is_withdrawn_stays_on_record_with_the_reason(defect, agent):
    piece = add(defect, agent)
    with pytest.raises(ValidationError, match="Say why"):
        evidence_withdraw(piece.pk, why=" ", actor=agent, moment=at())
    gone = evidence_withdraw(piece.pk, why="Wrong room.", actor=agent, moment=at())
    again = evidence_withdraw(piece.pk, why="Twice.", actor=agent, moment=at())
    assert (gone.withdrawn_why, again.withdrawn_why) == ("Wrong room.", "Wrong room.")
    assert open_bytes(piece.document) == photo().content
    assert "Wrong room." in Event.objects.get(verb="evidence.withdrawn").says
    shown = evidence_of([defect.pk])[defect.pk]
    assert ([p.evidence for p in shown.withdrawn], shown.after) == ([piece], [])


def test_nothing_is_withdrawn_from_under_a_confirmation(defect, agent):
    piece = add(defect, agent)
    Defect.objects.filter(pk=defect.pk).update(confirmed=date(2026, 11, 25))
    with pytest.raises(NotAllowed, match="confirmed"):
        evidence_withdraw(piece.pk, why="Changed my mind.", actor=agent, moment=at())


def test_landlord_and_contractor_withdraw_only_what_they_brought(agency, defect, agent, contractor):
    owner = make_user(agency, "landlord", landlord=defect.unit.landlord)
    agents, owners, firms = add(defect, agent), add(defect, owner), add(defect, contractor=contractor)
    by_owner = {"why": "x", "actor": owner, "moment": at()}
    by_firm = {"why": "x", "actor": None, "contractor": contractor, "moment": at()}
    for piece, by in ((agents, by_owner), (firms, by_owner), (agents, by_firm), (owners, by_firm)):
        with pytest.raises(NotAllowed, match="Somebody else"):
            evidence_withdraw(piece.pk, **by)
    assert evidence_withdraw(owners.pk, **by_owner).withdrawn_at
    assert evidence_withdraw(firms.pk, **by_firm).withdrawn_at


def test_what_a_page_shows_is_read_in_one_query(agency, defect, agent, django_assert_num_queries):
    other = make_defect(agency)
    add(defect, agent, stage="before")
    add(defect, agent, accepted=paper_file())
    with django_assert_num_queries(1):
        shown = evidence_of([defect.pk, other.pk])
        assert [str(p.evidence.document) for p in shown[defect.pk].before] == ["photo.jpg"]
        assert [p.picture for p in shown[defect.pk].after] == [False]
    assert shown[other.pk].before == []
