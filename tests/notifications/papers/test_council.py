"""What goes to a council: papers with the proof of what was put right, and a cover that lists all of it."""

import io
from datetime import date
from uuid import uuid4

import pikepdf
import pytest
from django.core.exceptions import ValidationError
from django.core.files.base import ContentFile

from inspections.models import Defect, Evidence
from notifications import sending
from notifications.models import Message
from notifications.papers.after import copies_given
from notifications.papers.letter import Offer, letter
from portfolio import documents
from portfolio.law import model as law
from portfolio.models import Act, Event, Unit, User
from tests.factories import CLEAR_FLAT, at, make_agency, make_user, without
from tests.inspections.pictures import jpeg
from tests.notifications.papers.cases import ask, owed, paper, rented, send, with_file

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("noon")]
FOUND, DONE, CONFIRMED = date(2026, 11, 2), date(2026, 11, 18), date(2026, 11, 20)
REPORT = law.Certificate("e2", "eicr", "EI-2", inspected=FOUND, outcome="unsatisfactory")
DEFECT = law.Defect("d1", "bs7671", "C2", "Broken socket", FOUND, "e2", completed=DONE, confirmed=CONFIRMED)
ASKED = law.Act("request_received", "e2", "council", date(2026, 11, 23))


@pytest.fixture(scope="module")
def there(in_common):
    """Made once: an agent, and a home whose council asked for a report on which the work is done and proven."""
    agent = make_user(make_agency("Latchford Lettings"), name="Ann Agent")
    home = rented(
        agent.agency,
        certificates=(*(without(CLEAR_FLAT, "e1").certificates or ()), REPORT),
        defects=(DEFECT,),
        events=(law.Act("copy_given", "g1", "tenant", date(2026, 4, 10)), ASKED),
    )
    report = with_file(paper(home, "e2"))
    return agent, home, report, proof(home, agent)


def proof(home: Unit, agent: User) -> documents.Accepted:
    accepted = documents.accept(ContentFile(jpeg(shade=211), name="mended.jpg"))
    document = documents.store(accepted, agency=agent.agency, actor=agent, moment=at())
    Evidence.objects.create(
        defect=Defect.objects.get(unit=home), key=uuid4(), stage="after", document=document,
        says="The new socket", added_at=at().at, added_by=agent,
    )  # fmt: skip
    return accepted


@pytest.fixture
def agent(there):
    return User.objects.select_related("agency").get(pk=there[0].pk)


@pytest.fixture
def home(there):
    return Unit.objects.get(pk=there[1].pk)


def pack(home, **changes):
    told = {
        "party": "council",
        "name": "Housing team",
        "email": "housing@example.org",
        "proofs": frozenset(Defect.objects.filter(unit=home).values_list("pk", flat=True)),
        "answers": frozenset({"copy_given:e2", "confirmation_given:e2"}),
        "agreed": False,
    }
    return ask(home, "e2", **{**told, **changes})


def letters(page: bytes) -> str:
    """The words of a PDF, as a reader's program finds them."""
    import subprocess

    run = subprocess.run(["pdftotext", "-raw", "-", "-"], input=page, capture_output=True, check=True)
    return " ".join(run.stdout.decode().split())


def test_what_is_owed_to_the_council_is_offered_with_what_has_to_go_with_it(home):
    offer = Offer(home, "council", at())
    found = {one.code: one for one in offer.answers}
    assert set(found) == {"copy_given:e2", "confirmation_given:e2"}
    assert not any(one.why_not for one in found.values())
    confirmation = found["confirmation_given:e2"]
    assert confirmation.papers == {paper(home, "e2").pk}
    assert confirmation.proofs == {Defect.objects.get(unit=home).pk}
    assert [duty.due for duty in found["copy_given:e2"].duties] == [date(2026, 11, 30)]


def test_both_duties_are_closed_when_the_mail_server_took_it_and_not_before(agent, home, there, office, now):
    assert owed(home, "copy_to_council") == owed(home, "confirm_to_council") == ["e2"]
    send(home, pack(home), agent)
    assert owed(home, "copy_to_council") == owed(home, "confirm_to_council") == ["e2"]
    sending.send_waiting(now)
    assert owed(home, "copy_to_council") == owed(home, "confirm_to_council") == []
    acts = Act.objects.filter(unit=home, on=at().day).values_list("what", "of", "party")
    assert sorted(acts) == [("confirmation_given", "e2", "council"), ("copy_given", "e2", "council")]
    assert owed(home, "confirm_to_tenant") == ["e2"]
    (mail,) = office.to("housing@example.org")
    cover, report, mended = mail.iter_attachments()
    assert report.get_content() == there[2].content
    assert mended.get_content() == there[3].content
    assert [part.get_filename() for part in (cover, report, mended)] == [
        "council-pack.pdf",
        "eicr-2026-11-02.jpg",
        "proof-d1.jpg",
    ]
    assert mail.get_body(("plain",)).get_content().startswith("Open council-pack.pdf first:")


def test_the_cover_lists_papers_with_their_digests_what_was_found_and_done_and_what_is_owed(
    agent, home, there
):
    made = letter(Offer(home, "council", at()), pack(home), actor=agent, moment=at())
    with pikepdf.open(io.BytesIO(made.files[0].content)) as pdf:
        assert pdf.docinfo["/Title"] == "Papers of Flat 2, 9 Tannery Row"
    words = letters(made.files[0].content)
    for said in (
        "Give the council, which asked, a copy of the electrical report",
        "SI 2020/312",
        "30 November 2026",
        "Electrical condition report (EICR), 2 Nov 2026",
        there[2].sha256,
        there[3].sha256,
        "Broken socket",
        "Work said to be done on 18 November 2026",
        "Confirmed as put right on 20 November 2026",
        "Give the tenant written confirmation",
        "it does not certify",
    ):
        assert said in words, said


def test_only_what_was_chosen_and_is_answered_is_recorded(agent, home):
    copy_only = pack(home, answers=frozenset({"copy_given:e2"}), proofs=frozenset())
    copies_given(send(home, copy_only, agent), at())
    assert owed(home, "copy_to_council") == []
    assert owed(home, "confirm_to_council") == ["e2"]


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        ({"proofs": frozenset()}, "answered only if what it is about goes too"),
        ({"papers": frozenset()}, "answered only if what it is about goes too"),
        ({"answers": frozenset({"copy_given:e1"})}, "done or gone meanwhile"),
        ({"answers": frozenset({"copy_given:e2"}), "proofs": frozenset({987654})}, "count no longer"),
    ],
)
def test_nothing_is_recorded_as_done_that_the_mail_does_not_do(agent, home, changes, said):
    with pytest.raises(ValidationError, match=said):
        send(home, pack(home, **changes), agent)
    assert not Message.objects.exists()
    assert not Event.objects.filter(unit=home, verb="papers.sent").exists()


def test_work_that_nobody_confirmed_cannot_be_confirmed_to_the_council(agent, home):
    Defect.objects.filter(unit=home).update(confirmed=None)
    (answer,) = [one for one in Offer(home, "council", at()).answers if one.what == "confirmation_given"]
    assert answer.why_not == "Not all of its work is confirmed by a second, competent person yet."
    with pytest.raises(ValidationError, match="cannot be answered now"):
        send(home, pack(home, proofs=frozenset()), agent)
    made = letter(
        Offer(home, "council", at()),
        pack(home, proofs=frozenset(), answers=frozenset({"copy_given:e2"})),
        actor=agent,
        moment=at(),
    )
    assert "Not confirmed: it counts as open." in letters(made.files[0].content)


def test_a_paper_withdrawn_after_it_was_taken_confirms_nothing(agent, home):
    message = send(home, pack(home), agent)
    home.certificates.filter(ref="e2").update(withdrawn=at().day)
    copies_given(message, at())
    assert not Act.objects.filter(unit=home, on=at().day).exists()
    line = Event.objects.get(unit=home, verb="papers.taken").says
    assert line.count("because it was withdrawn on 25 November 2026") == 2
