"""Adding a certificate: what it would change is shown before it is saved, and its file survives the check."""

import io
import re
from copy import deepcopy
from datetime import date

import pikepdf
import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.urls import reverse

from portfolio import words
from portfolio.forms.certificates import FIELDS, NEEDED
from portfolio.law import model as law
from portfolio.models import Certificate, Document
from tests.factories import CLEAR_FLAT, make_agency, make_home, make_user, signed_in, without

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("noon")]

EICR = {"kind": "eicr", "inspected": "2026-11-20", "outcome": "satisfactory"}


@pytest.fixture(autouse=True)
def _files(settings, tmp_path):
    settings.MEDIA_ROOT = tmp_path


@pytest.fixture(scope="module")
def common(in_common):
    """An agent, and a home of theirs that is barred for want of an electrical report."""
    agent = make_user(make_agency())
    return agent, make_home(agent.agency, certificates=without(CLEAR_FLAT, "e1").certificates)


@pytest.fixture
def agent(common):
    return deepcopy(common[0])


@pytest.fixture
def home(common):
    return deepcopy(common[1])


@pytest.fixture
def send(agent, home):
    client = signed_in(agent)
    return lambda **data: client.post(reverse("certificate_add", args=[home.pk]), data)


def pdf(name: str = "report.pdf") -> SimpleUploadedFile:
    paper, out = pikepdf.new(), io.BytesIO()
    paper.add_blank_page()
    paper.save(out)
    return SimpleUploadedFile(name, out.getvalue())


def text(response) -> str:
    return " ".join(response.content.decode().split())


def hidden(response) -> dict[str, str]:
    """What the page of the check step carries to the saving."""
    return dict(
        re.findall(r'<input type="hidden" name="(?!csrf)(\w+)" value="([^"]*)"', response.content.decode())
    )


def test_the_kind_is_asked_first(agent, home):
    response = signed_in(agent).get(reverse("certificate_add", args=[home.pk]))
    assert all(kind.replace("&", "&amp;") in text(response) for kind in words.CERTIFICATE.values())


@pytest.mark.parametrize("kind", words.CERTIFICATE)
def test_each_kind_asks_for_its_own_fields_only(agent, home, kind):
    response = signed_in(agent).get(reverse("certificate_add", args=[home.pk]), {"kind": kind})
    asked = [name for name in response.context["form"].fields if not name.startswith("appliance_")]
    assert asked[-1] == "upload"
    assert set(NEEDED.get(kind, ())) <= set(asked)
    assert asked[:-1] == list(FIELDS[kind])
    assert ("appliance_0" in response.context["form"].fields) is (kind == "gas_safety_record")


DAY_OF_KIND = {
    "epc": "registered",
    "mees_exemption": "registered",
    **dict.fromkeys(("epc_commission", "eic", "minor_works", "building_work_notice"), "issued"),
    **dict.fromkeys(("hmo_licence", "selective_licence", "landlord_registration"), "issued"),
}
"""Which day the law counts from; of all other kinds it is the day of inspection."""


@pytest.mark.parametrize("kind", [kind for kind in words.CERTIFICATE if kind != "other"])
def test_no_kind_is_taken_without_the_day_the_law_counts_from(agent, home, kind):
    day = DAY_OF_KIND.get(kind, "inspected")
    everything = {
        "outcome": "satisfactory", "rating": "C", "exemption": "consent", "until": "2027-01-01", "appliance_0": "safe",
        **dict.fromkeys(("inspected", "issued", "registered"), "2026-11-20"),
    }  # fmt: skip
    client, url = signed_in(agent), reverse("certificate_add", args=[home.pk])
    lacking = {name: value for name, value in everything.items() if name != day}
    refused = client.post(url, {"kind": kind, **lacking, "save": "1"})
    assert refused.status_code == 200
    assert refused.context["form"].errors
    before = home.certificates.count()
    assert client.post(url, {"kind": kind, **everything, "save": "1"}).status_code == 302
    assert home.certificates.count() == before + 1
    assert getattr(home.certificates.latest("pk"), day) == date(2026, 11, 20)


def test_a_registration_still_undecided_needs_no_first_day(send, home):
    send(kind="landlord_registration", applied="2026-11-20", save="1")
    assert home.certificates.get(kind="landlord_registration").applied == date(2026, 11, 20)


def test_the_check_shows_what_it_would_change_and_saves_nothing(send, home):
    response = send(**EICR, check="1")
    page = text(response)
    assert "Nothing is saved yet." in page
    assert "Can be let today" in page
    assert "There is no electrical report." in page
    assert '<time datetime="2031-11-19">' in page or '<time datetime="2031-11-20">' in page
    assert not home.certificates.filter(kind="eicr").exists()


def test_saving_lifts_the_bar(send, home):
    response = send(**EICR, save="1")
    assert response["Location"] == reverse("home", args=[home.pk])
    home.standing.refresh_from_db()
    assert home.standing.let_clear
    assert home.certificates.get(kind="eicr").inspected == date(2026, 11, 20)


def test_the_file_survives_the_check_and_is_kept_with_the_paper(send, home):
    carried = hidden(send(**EICR, upload=pdf(), check="1"))
    assert carried["inspected"] == "2026-11-20"
    send(**carried, save="1")
    (document,) = home.certificates.get(kind="eicr").documents.all()
    assert document.name == "report.pdf"


def test_the_file_survives_a_change_of_mind(send, home):
    carried = hidden(send(**EICR, upload=pdf(), check="1"))
    again = send(**carried, change="1")
    assert "report.pdf" in text(again)
    send(**{**EICR, "inspected": "2026-11-21", "file": hidden(again)["file"]}, save="1")
    assert home.certificates.get(kind="eicr").documents.count() == 1


def test_the_file_survives_a_fault_elsewhere_in_the_form(send):
    response = send(**{**EICR, "inspected": ""}, upload=pdf(), check="1")
    assert response.context["form"].errors.keys() == {"inspected"}
    assert "report.pdf" in text(response)


def test_a_kept_file_cannot_be_carried_to_another_home_or_by_another_person(agent, send, home):
    token = hidden(send(**EICR, upload=pdf(), check="1"))["file"]
    other = make_home(agent.agency)
    for user, unit in ((agent, other), (make_user(agent.agency), home)):
        url = reverse("certificate_add", args=[unit.pk])
        response = signed_in(user).post(url, {**EICR, "file": token, "save": "1"})
        assert "upload" in response.context["form"].errors
    assert not Certificate.objects.filter(documents__isnull=False).exists()


def test_a_made_up_token_is_refused_rather_than_forgotten(send, home):
    response = send(**EICR, file="1:abc:def", save="1")
    assert "Choose it again" in text(response)
    assert not home.certificates.filter(kind="eicr").exists()


@pytest.mark.parametrize("content", [b"%PDF-broken", b"<svg onload=alert(1)>", b"MZ", b""])
def test_a_file_that_is_not_what_its_name_says_is_refused(send, home, content):
    response = send(**EICR, upload=SimpleUploadedFile("report.pdf", content), save="1")
    assert "upload" in response.context["form"].errors
    assert not home.certificates.filter(kind="eicr").exists()
    assert not Document.objects.exists()


def test_a_landlord_must_send_the_paper_and_an_agent_need_not(agent, home):
    landlord = signed_in(make_user(agent.agency, "landlord", landlord=home.landlord))
    url = reverse("certificate_add", args=[home.pk])
    refused = landlord.post(url, {**EICR, "save": "1"})
    assert "upload" in refused.context["form"].errors
    carried = hidden(landlord.post(url, {**EICR, "upload": pdf(), "check": "1"}))
    assert landlord.post(url, {**carried, "save": "1"}).status_code == 302
    assert home.certificates.get(kind="eicr").documents.exists()


@pytest.mark.parametrize(
    ("changes", "field"),
    [
        ({"inspected": "2026-11-26"}, "inspected"),
        ({"inspected": "31/11/2026"}, "inspected"),
        ({"inspected": ""}, "inspected"),
        ({"outcome": ""}, "outcome"),
        ({"outcome": "fine"}, "outcome"),
        ({"until": "2026-11-19"}, "until"),
        ({"next_within_years": "0"}, "next_within_years"),
        ({"next_within_years": "nan"}, "next_within_years"),
        ({"remedy_within_days": "-1"}, "remedy_within_days"),
        ({"number": "x" * 101}, "number"),
    ],
)
def test_a_fault_is_named_at_its_field_and_nothing_is_saved(send, home, changes, field):
    response = send(**{**EICR, **changes}, save="1")
    assert field in response.context["form"].errors
    assert not home.certificates.filter(kind="eicr").exists()


def test_the_day_of_inspection_may_be_today(send):
    assert send(**{**EICR, "inspected": "2026-11-25"}, save="1").status_code == 302


def test_a_paper_without_any_day_is_refused(send):
    response = send(kind="hmo_licence", number="HL-1", save="1")
    assert "at least one day" in text(response)


@pytest.mark.parametrize(
    ("inspected", "kept", "due"),
    [("2026-03-20", "not kept", "20 Mar 2027"), ("2026-03-21", "kept", "20 May 2027")],
)
def test_the_check_says_whether_the_anniversary_is_kept(agent, inspected, kept, due):
    """The two months before the old deadline of 20 May 2026 begin on 21 March."""
    home = make_home(agent.agency, certificates=without(CLEAR_FLAT, "g1").certificates)
    data = {"kind": "gas_safety_record", "inspected": inspected, "appliance_0": "safe", "check": "1"}
    page = text(signed_in(agent).post(reverse("certificate_add", args=[home.pk]), data))
    assert f"Anniversary {kept}:" in page
    assert due in page


def test_a_gas_record_speaks_of_each_appliance(send, home):
    send(kind="gas_safety_record", inspected="2026-11-20", appliance_0="ar", save="1")
    paper = home.certificates.get(inspected=date(2026, 11, 20))
    assert [(check.appliance.ref, check.result) for check in paper.checks.all()] == [("boiler", "ar")]
    home.standing.refresh_from_db()
    assert not home.standing.let_clear


def test_a_gas_record_that_speaks_of_no_appliance_is_refused(send):
    response = send(kind="gas_safety_record", inspected="2026-11-20", save="1")
    assert "at least one appliance" in text(response)


def test_a_gas_record_for_a_home_without_appliances_says_what_to_do_first(agent):
    home = make_home(agent.agency, appliances=(), certificates=())
    page = text(
        signed_in(agent).get(reverse("certificate_add", args=[home.pk]), {"kind": "gas_safety_record"})
    )
    assert f"{reverse('home_facts', args=[home.pk])}#appliances" in page


def test_the_same_paper_again_is_warned_of(agent):
    home = make_home(agent.agency)
    data = {"kind": "epc", "registered": "2020-09-10", "rating": "C", "check": "1"}
    page = text(signed_in(agent).post(reverse("certificate_add", args=[home.pk]), data))
    assert "Held already?" in page


def test_one_more_file_can_be_put_to_a_paper(agent, home):
    paper = home.certificates.get(kind="epc")
    client = signed_in(agent)
    response = client.post(reverse("document_add", args=[paper.pk]), {"upload": pdf("energy.pdf")})
    assert response["Location"] == reverse("home", args=[home.pk])
    assert [document.name for document in paper.documents.all()] == ["energy.pdf"]


def test_a_file_is_served_as_a_download_that_nothing_runs_in(agent, send, home):
    send(**EICR, upload=pdf("Ré port.pdf"), save="1")
    document = Document.objects.get()
    response = signed_in(agent).get(reverse("document", args=[document.pk]))
    assert response["Content-Type"] == "application/pdf"
    assert response["Content-Disposition"].startswith("attachment;")
    assert response["X-Content-Type-Options"] == "nosniff"
    assert "sandbox" in response["Content-Security-Policy"]
    assert response.content.startswith(b"%PDF-")


def test_a_file_that_is_put_to_no_paper_yet_is_no_landlords(agent, home, send):
    send(**EICR, upload=pdf(), check="1")
    landlord = signed_in(make_user(agent.agency, "landlord", landlord=home.landlord))
    assert landlord.get(reverse("document", args=[Document.objects.get().pk])).status_code == 404


def test_a_danger_on_the_paper_is_shown_before_saving(agent):
    clear = make_home(agent.agency)
    data = {**EICR, "outcome": "unsatisfactory", "check": "1"}
    response = signed_in(agent).post(reverse("certificate_add", args=[clear.pk]), data)
    assert "What it brings up" in text(response)
    assert response.context["preview"].let.clear is False
    assert response.context["preview"].raised[0].basis in law.Basis


@pytest.fixture
def paper(home):
    return home.certificates.get(ref="g1")


def test_correcting_starts_from_what_is_on_record(agent, paper):
    page = signed_in(agent).get(reverse("certificate_correct", args=[paper.pk])).content.decode()
    assert 'value="2026-04-02"' in page
    assert re.search(r'value="safe"[^>]*checked', page)


def test_a_correction_without_a_reason_is_refused(agent, paper):
    url = reverse("certificate_correct", args=[paper.pk])
    answer = signed_in(agent).post(url, {"inspected": "2026-04-03", "appliance_0": "safe"})
    paper.refresh_from_db()
    assert answer.status_code == 200
    assert paper.inspected == date(2026, 4, 2)


def test_a_correction_is_saved_and_told_in_the_record(agent, paper):
    url = reverse("certificate_correct", args=[paper.pk])
    typed = {"inspected": "2026-04-03", "appliance_0": "ar", "why": "Read wrongly."}
    assert signed_in(agent).post(url, typed).status_code == 302
    paper.refresh_from_db()
    assert (paper.inspected, paper.checks.get().result) == (date(2026, 4, 3), "ar")
    assert "Read wrongly." in paper.unit.events.get(verb="certificate.corrected").says


def test_a_paper_can_be_said_to_count_no_longer(agent, paper):
    url = reverse("certificate_correct", args=[paper.pk])
    typed = {"inspected": "", "withdrawn": "2026-11-25", "why": "Entered for the wrong home."}
    assert signed_in(agent).post(url, typed).status_code == 302
    paper.refresh_from_db()
    assert paper.withdrawn == date(2026, 11, 25)


@pytest.mark.parametrize("kind", ["hmo_licence", "selective_licence"])
def test_a_licence_is_asked_for_both_its_days_unless_it_is_applied_for(send, kind):
    page = send(kind=kind, issued="2026-01-01").content.decode()
    assert "from its first to its last day" in page
    assert Certificate.objects.filter(kind=kind).count() == 0
    assert send(kind=kind, applied="2026-11-01", save="1").status_code == 302
