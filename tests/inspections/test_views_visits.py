"""A visit by plain forms, as it works with scripts off, and by the address that scripts send to."""

import hashlib
from copy import deepcopy
from uuid import uuid4

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.urls import reverse

from inspections.models import Competence, Defect, Evidence, Look, Visit
from inspections.services.visits import visit_begin, visit_end
from portfolio.models import Room
from tests.factories import at, make_agency, make_home, make_user, signed_in
from tests.inspections.pictures import jpeg

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("noon")]

JSON = {"accept": "application/json"}


@pytest.fixture(scope="module")
def common(in_common):
    agency = make_agency()
    return agency, make_user(agency, "inspector", competent=["bs7671"]), make_home(agency, defects=None)


@pytest.fixture
def agency(common):
    return deepcopy(common[0])


@pytest.fixture
def user(common):
    return deepcopy(common[1])


@pytest.fixture
def inspector(user):
    return signed_in(user)


@pytest.fixture
def home(common):
    return deepcopy(common[2])


@pytest.fixture
def visit(home, user):
    return visit_begin(home.pk, key=uuid4(), actor=user, moment=at())


def text(response) -> str:
    return " ".join(response.content.decode().split())


def record(client, visit, what, follow=True, headers=None, **said):
    said = {"what": what, "key": uuid4()} | said
    url = reverse("visit_record", args=[visit.key])
    return client.post(url, said, follow=follow, headers=headers)


def defect(client, visit, **said):
    first = {"title": "Cracked socket", "room": "kitchen", "scheme": "bs7671", "code": "bs7671:C2"}
    return record(client, visit, "defect", **(first | said))


def test_what_is_on_record_already_is_shown_before_anybody_walks_in(inspector, home, user, visit):
    page = text(inspector.get(reverse("visit", args=[visit.key])))
    assert "On record already" not in page
    defect(inspector, visit, title="Old board", code="bs7671:C3")
    defect(inspector, visit, title="Bare wire ends", code="bs7671:C1")
    visit_end(visit.pk, actor=user, moment=at())
    later = visit_begin(home.pk, key=uuid4(), actor=user, moment=at())
    defect(inspector, later, title="Found today")
    page = text(inspector.get(reverse("visit", args=[later.key])))
    known = page[page.index("On record already: 2 open defects<") : page.index('id="rooms"')]
    assert known.index("Bare wire ends") < known.index("Old board")
    assert "C1: danger present; Kitchen, ground floor" in known
    assert "Found today" not in known


def test_a_visit_from_begin_to_end(inspector, home, agency):
    page = inspector.get(reverse("visits", args=[home.pk]))
    for _ in range(2):
        response = inspector.post(
            reverse("visit_begin", args=[home.pk]), {"key": page.context["key"]}, follow=True
        )
    visit = Visit.objects.get()
    assert "Nothing said yet" in text(response)
    photo = jpeg()
    shot = SimpleUploadedFile("shot.jpg", photo, "image/jpeg")
    assert "Cracked socket" in text(defect(inspector, visit, photo=shot))
    assert Evidence.objects.get().document.sha256 == hashlib.sha256(photo).hexdigest()
    record(inspector, visit, "look", room="hall", look="nothing")
    record(inspector, visit, "look", room="bath", look="not_seen", says="Locked.")
    record(inspector, visit, "room", use="store", level="0")
    asked = record(inspector, visit, "end", says="Meter read.")
    assert asked.status_code == 409
    assert "End it all the same?" in text(asked)
    assert Visit.objects.get().ended_at is None
    done = text(record(inspector, visit, "end", says="Meter read.", sure="1"))
    assert "Not looked at</dt><dd>Living room, ground floor; Bedroom, ground floor; Store or cupboard" in done
    assert "Nothing found in</dt><dd>Hall, ground floor<" in done
    assert "Bathroom, ground floor: Locked." in done
    assert "Meter read." in done
    landlord = signed_in(make_user(agency, "landlord", landlord=home.landlord))
    assert "Cracked socket" in text(landlord.get(reverse("visit", args=[visit.key])))
    assert "Cracked socket" in text(inspector.get(reverse("defects", args=[home.pk])))


def test_a_double_tap_is_one_defect(inspector, visit):
    key = uuid4()
    for _ in range(2):
        assert defect(inspector, visit, key=key).status_code == 200
    assert Defect.objects.get().key == key


def test_the_form_comes_back_with_what_was_said(inspector, visit):
    response = defect(inspector, visit, code="", note="By the door")
    page = text(response)
    assert response.status_code == 400
    assert "Choose a class." in page
    assert 'value="Cracked socket"' in page
    assert "By the door" in page
    assert not Defect.objects.exists()


@pytest.mark.parametrize(("long", "kept"), [(4000, True), (4001, False)])
def test_a_note_that_is_too_long_comes_back_whole(inspector, visit, long, kept):
    note = "n" * long
    response = defect(inspector, visit, note=note)
    assert Defect.objects.filter(note=note).exists() is kept
    assert (response.status_code == 200) is kept
    if not kept:
        assert f"This has {long} characters, and 4000 can be kept" in text(response)
        assert note in text(response)
        told = defect(inspector, visit, note=note, headers=JSON).json()["error"]
        assert "4000 can be kept" in told


@pytest.mark.parametrize(
    "said",
    [
        {"title": ""},
        {"title": "  "},
        {"room": "nowhere"},
        {"scheme": "fire"},
        {"code": "bs7671:ID"},
        {"key": "not-a-key"},
        {"at": "soon"},
        {"photo": SimpleUploadedFile("x.jpg", b"<svg onload=alert(1)>", "image/jpeg")},
    ],
)
def test_what_cannot_be_is_refused_in_words(inspector, visit, said):
    response = defect(inspector, visit, headers=JSON, **said)
    assert response.status_code == 400
    assert response.json()["error"].endswith(".")
    assert not Defect.objects.exists()


def test_a_gas_fault_is_suspected_by_those_who_may_not_class_it(inspector, visit):
    page = text(inspector.get(reverse("visit", args=[visit.key])))
    assert "Suspected gas defect, dangerous now" in page
    response = defect(inspector, visit, title="Flue is loose", scheme="gas", code="gas:danger")
    one = Defect.objects.get()
    assert (one.scheme, one.code, one.trade, one.suspected) == ("other", "danger", "gas", True)
    assert "What to do now: Flue is loose" in text(response)
    assert "no flames, no switches" in text(response)


@pytest.mark.parametrize(
    ("more", "taken"), [({}, False), ({"said_by": "A. Fitter, registration 123456"}, True)]
)
def test_id_needs_the_engineer_who_said_so(inspector, visit, more, taken):
    response = defect(inspector, visit, scheme="gas", code="igem_g11:ID", headers=JSON, **more)
    assert (response.status_code == 200) is taken
    assert Defect.objects.exists() is taken
    if not taken:
        assert "registered gas engineer" in response.json()["error"]


def test_the_gas_record_says_so_too(inspector, visit):
    paper = visit.unit.certificates.filter(kind="gas_safety_record").first()
    defect(inspector, visit, scheme="gas", code="igem_g11:AR", certificate=paper.pk)
    assert Defect.objects.get().certificate == paper


def test_somebody_competent_for_gas_classes_it_alone(inspector, user, visit):
    Competence.objects.create(user=user, scheme="igem_g11", by="Gas registration 123456")
    page = text(inspector.get(reverse("visit", args=[visit.key])))
    assert (
        "Suspected gas defect, dangerous now" not in page.replace("&quot;", '"').partition("visit-state")[0]
    )
    defect(inspector, visit, scheme="gas", code="igem_g11:ID")
    one = Defect.objects.get()
    assert (one.scheme, one.trade, one.suspected) == ("igem_g11", "gas", False)


@pytest.mark.parametrize(
    ("title", "typical", "trade"),
    [
        ("Cover off the consumer unit, live terminals within reach", "CU02", "electrical"),
        ("  cover off the CONSUMER unit,  live terminals within reach ", "CU02", "electrical"),
        ("Cover off", "", "electrical"),
    ],
)
def test_a_title_of_the_catalogue_brings_its_id(inspector, visit, title, typical, trade):
    defect(inspector, visit, title=title, code="bs7671:C3")
    one = Defect.objects.get()
    assert (one.typical, one.trade, one.code) == (typical, trade, "C3")


def test_a_gas_fault_of_the_catalogue_stays_suspected_under_another_kind(inspector, visit):
    defect(inspector, visit, title="Smell of gas", scheme="other", code="other:danger")
    one = Defect.objects.get()
    assert (one.typical, one.trade, one.suspected) == ("GA01", "gas", True)


def test_a_script_sends_room_defect_photo_look_and_end(inspector, visit):
    room, found = uuid4(), uuid4()
    ref = f"room-{room.hex}"
    shot = SimpleUploadedFile("a.jpg", jpeg(), "image/jpeg")
    sent = [
        ("room", {"key": room, "use": "utility", "level": ""}),
        ("defect", {"key": found, "room": ref, "at": "2026-11-25T11:59:00.000Z"}),
        ("photo", {"key": uuid4(), "defect": found, "photo": shot}),
        ("look", {"key": uuid4(), "room": "hall", "look": "nothing", "says": "ignored"}),
        ("end", {"sure": "1"}),
    ]
    for what, said in sent:
        send = defect if what == "defect" else lambda *args, **more: record(*args, what, **more)  # noqa: B023
        response = send(inspector, visit, headers=JSON, **said)
        assert response.status_code == 200, response.content
    assert Defect.objects.get().room.ref == ref
    state = inspector.get(reverse("visit_state", args=[visit.key])).json()
    assert state["ended"]
    assert {str(found), str(Look.objects.get(what="nothing").key)} <= set(state["held"])
    found_in = next(place for place in state["places"] if place["ref"] == ref)
    assert (found_in["state"], found_in["found"][0]["photos"]) == ("found", 1)


def test_a_photo_before_its_defect_waits(inspector, visit):
    shot = SimpleUploadedFile("a.jpg", jpeg(), "image/jpeg")
    response = record(inspector, visit, "photo", headers=JSON, defect=uuid4(), photo=shot)
    assert response.status_code == 409
    assert "Send the defect first" in response.json()["error"]


def test_what_comes_after_the_end_is_kept_and_said_to_be_late(inspector, visit, agency):
    other = make_user(agency, "inspector", name="Another Inspector")
    visit_end(visit.pk, actor=other, moment=at())
    response = defect(inspector, visit, headers=JSON)
    assert "Another Inspector ended this visit" in response.json()["late"]
    assert Defect.objects.count() == 1


def test_an_ended_visit_offers_nothing_to_add(inspector, visit, user):
    visit_end(visit.pk, actor=user, moment=at())
    response = inspector.get(reverse("visit", args=[visit.key]))
    assert "Nothing found here" not in text(response)
    assert 'aria-labelledby="add-h" hidden' in text(response)
    assert (
        record(inspector, visit, "look", room="hall", look="nothing", at="2026-11-25T12:00:00Z").status_code
        == 200
    )


def test_unknown_things_are_refused_in_words(inspector, visit):
    assert "does not say what it is" in record(inspector, visit, "else", headers=JSON).json()["error"]
    assert record(inspector, visit, "else").status_code == 400
    assert record(inspector, visit, "room", use="ballroom", headers=JSON).status_code == 400
    assert not Room.objects.filter(use="ballroom").exists()


def test_pages_lead_to_the_visits(inspector, home):
    for name in ("home", "defects"):
        assert reverse("visits", args=[home.pk]) in text(inspector.get(reverse(name, args=[home.pk])))


def test_the_worker_may_see_the_whole_site_and_is_not_kept(inspector):
    response = inspector.get(reverse("visit_worker"))
    assert response["Service-Worker-Allowed"] == "/"
    assert response["Content-Type"].startswith("text/javascript")
    assert "no-store" in response["Cache-Control"]
    assert "worker-src 'self'" in response["Content-Security-Policy"]


def test_the_page_says_for_whom_it_is(inspector, user, visit):
    assert inspector.get(reverse("visit", args=[visit.key]))["X-Visit-For"] == str(user.pk)
