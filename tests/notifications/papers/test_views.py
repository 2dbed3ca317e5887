"""The pages of mails that do something."""

import re
from uuid import uuid4

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from notifications.models import Message
from portfolio.models import Event, Unit, User
from tests.factories import make_agency, make_home, make_user, signed_in
from tests.notifications.papers.cases import make_gas_firm, paper, rented, with_file

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("noon")]


@pytest.fixture(scope="module")
def there(in_common):
    agent = make_user(make_agency("Latchford Lettings"), name="Ann Agent")
    home = rented(agent.agency)
    with_file(paper(home, "g2"))
    return agent, home


@pytest.fixture
def agent(there):
    return User.objects.select_related("agency").get(pk=there[0].pk)


@pytest.fixture
def home(there):
    return Unit.objects.select_related("landlord").get(pk=there[1].pk)


@pytest.fixture
def client(agent):
    return signed_in(agent)


def text(response) -> str:
    return " ".join(response.content.decode().split())


def url(home, query=""):
    return reverse("papers_send", args=[home.pk]) + query


def typed(home, **changes):
    told = {
        "key": str(uuid4()),
        "party": "tenant",
        "name": "Pat Tenant",
        "email": "pat@example.org",
        "agreed": "on",
        "papers": [paper(home, "g2").pk],
        "note": "",
    }
    return {**told, **changes}


def links(page: str) -> list[str]:
    return re.findall(rf'href="({reverse("papers_send", args=[0])[:7]}\d+/send/\?[^"]*)"', page)


def test_a_duty_leads_to_its_paper_being_sent_from_the_home_and_from_the_list(client, home):
    for page in (reverse("home", args=[home.pk]), reverse("duties")):
        (link,) = links(client.get(page).content.decode())
        assert link == url(home, "?of=g2&amp;party=tenant")
    shown = client.get(url(home, "?of=g2&party=tenant"))
    assert f'value="{paper(home, "g2").pk}" id="id_papers_0" checked' in re.sub(
        r"\s+", " ", shown.content.decode()
    )
    assert "Whether an e-mail gives it turns on what the reader agreed to." in text(shown)
    assert "our reading" in text(shown)


def test_nothing_is_kept_before_it_was_looked_at(client, home):
    shown = text(client.post(url(home), {**typed(home, note="Mind the step."), "look": "1"}))
    assert "Nothing is sent or kept yet." in shown
    assert "gas-safety-record-2026-11-16.jpg" in shown
    assert "Mind the step." in shown
    assert not Message.objects.exists()
    back = client.post(url(home), {**typed(home), "change": "1"})
    assert 'value="Pat Tenant"' in back.content.decode()
    assert not Message.objects.exists()


def test_sending_leads_to_the_message_and_the_same_form_again_to_the_same(client, home):
    form = {**typed(home), "send": "1"}
    first, second = client.post(url(home), form), client.post(url(home), form)
    message = Message.objects.get()
    assert first["Location"] == second["Location"] == reverse("message", args=[message.pk])
    assert message.follows
    assert message.data["acts"] == [["copy_given", "g2"]]
    other = client.post(url(home), {**form, "email": "else@example.org"})
    assert other.status_code == 400
    assert "sent already, to pat@example.org" in text(other)


def test_what_is_looked_at_carries_all_that_was_typed_to_the_sending(client, home):
    page = client.post(url(home), {**typed(home, note="A\nB"), "look": "1"}).content.decode()
    sent = dict(re.findall(r'<input type="hidden" name="(\w+)" value="([^"]*)">', page))
    sent.pop("csrfmiddlewaretoken", None)
    client.post(url(home), {**sent, "send": "1"})
    assert "A\nB" in Message.objects.get().text


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        ({"name": "Pat\r\nBcc: all@example.org"}, "Write it on one line"),
        ({"name": "Pat\u202etnanet"}, "Write it on one line"),
        ({"name": "x" * 101}, "at most 100 characters"),
        ({"name": "  "}, "Say who reads it."),
        ({"email": "pat@example.org\nBcc: all@example.org"}, "valid email"),
        ({"email": "pat"}, "valid email"),
        ({"note": "x" * 2001}, "at most 2000 characters"),
        ({"papers": ["999999"]}, "cannot be sent"),
        ({"papers": ["1; drop"]}, "cannot be sent"),
        ({"papers": []}, "Choose at least one paper."),
        ({"agreed": ""}, "Tick this if the tenant agreed"),
        ({"key": "nonsense"}, "valid UUID"),
        ({"party": "king"}, "king"),
        ({"note": "a\x00b"}, "Null characters"),
    ],
)
@pytest.mark.parametrize("button", ["look", "send"])
def test_what_is_wrong_is_said_and_nothing_is_kept(client, home, changes, said, button):
    shown = client.post(url(home), {**typed(home, **changes), button: "1"})
    assert shown.status_code == 400
    assert said in text(shown)
    assert not Message.objects.exists()
    assert not Event.objects.filter(unit=home, verb="papers.sent").exists()


def test_the_words_typed_are_words_in_every_place(client, home):
    shown = client.post(url(home), {**typed(home, note="<script>x</script>"), "look": "1"}).content.decode()
    assert "<script>x" not in shown
    client.post(url(home), {**typed(home, note="<b>x</b> {{ 1 }}"), "send": "1"})
    message = Message.objects.get()
    assert "<b>x</b> {{ 1 }}" in message.text
    assert "&lt;b&gt;x&lt;/b&gt; {{ 1 }}" in message.html


@pytest.mark.parametrize("name", ["papers_send", "renewal_ask"])
@pytest.mark.parametrize("who", ["landlord", "inspector", "stranger"])
def test_nobody_else_gets_there(agent, home, name, who):
    other = make_user(make_agency()) if who == "stranger" else make_user(
        agent.agency, who, **({"landlord": home.landlord} if who == "landlord" else {})
    )  # fmt: skip
    address = reverse(name, args=[home.pk])
    assert signed_in(other).get(address).status_code == 404
    assert signed_in(other).post(address, {**typed(home), "send": "1"}).status_code == 404
    assert not Message.objects.exists()


def test_those_who_may_not_send_are_not_led_there(agent, home):
    landlord = make_user(agent.agency, "landlord", landlord=home.landlord)
    for page in (reverse("home", args=[home.pk]), reverse("duties")):
        assert not links(signed_in(landlord).get(page).content.decode())


def test_papers_without_a_file_are_named_with_the_way_to_add_one(client, home):
    shown = text(client.get(url(home)))
    assert "4 papers without a file" in shown
    assert reverse("document_add", args=[paper(home, "e1").pk]) in shown


def renew(home, query="?code=gb_gas_check"):
    return reverse("renewal_ask", args=[home.pk]) + query


def test_asking_a_contractor_is_looked_at_first_and_then_stands_on_the_page_of_the_home(client, agent):
    home = make_home(agent.agency, label="Flat 9")
    firm = make_gas_firm(agent.agency)
    page = client.get(reverse("home", args=[home.pk])).content.decode()
    assert f'href="{renew(home)}"' in page
    month = client.get(reverse("calendar_month", args=["2027-05"]) + "?what=lapses").content.decode()
    assert f'href="{renew(home)}"' in month
    shown = text(client.get(renew(home)))
    assert "keeps 20 May as the day of the year" in shown
    form = {
        "code": "gb_gas_check",
        "due": "2027-05-20",
        "contractor": firm.pk,
        "days": "",
        "access_notes": "Key.",
    }
    looked = text(client.post(renew(home), {**form, "look": "1"}))
    assert "Answer this message with a day on which you can come, at the latest 20 May 2027." in looked
    assert not Message.objects.exists()
    assert client.post(renew(home), {**form, "send": "1"})["Location"] == reverse("home", args=[home.pk])
    assert "We asked Blue Flame on 25 November 2026." in text(client.get(reverse("home", args=[home.pk])))
    again = client.post(renew(home), {**form, "send": "1"})
    assert again.status_code == 400
    assert "it can be asked again from 2 December 2026 on" in text(again)
    assert Message.objects.count() == 1


@pytest.mark.parametrize(
    "changes",
    [
        {"contractor": "x"},
        {"contractor": ""},
        {"days": "a\nb"},
        {"days": "x" * 301},
        {"access_notes": "x" * 2001},
    ],
)
def test_a_wrong_form_asks_nobody(client, agent, home, changes):
    firm = make_gas_firm(agent.agency)
    due = "2027-05-20"
    shown = client.post(
        renew(home), {"code": "gb_gas_check", "due": due, "contractor": firm.pk, **changes, "send": "1"}
    )
    assert shown.status_code in (302, 400)
    assert not Message.objects.exists()


def test_without_a_code_it_lists_what_runs_out(client, home):
    shown = text(client.get(renew(home, "?code=nonsense")))
    assert "Landlord&#x27;s gas safety check" in shown
    assert shown.index("gas safety check") < shown.index("Energy")


def test_queries_of_the_page_do_not_grow_with_papers(client, agent):
    counts = []
    for refs in (["g2"], ["g0", "g1", "g2", "e1", "p1"]):
        home = rented(agent.agency)
        for ref in refs:
            with_file(paper(home, ref))
        with CaptureQueriesContext(connection) as asked:
            client.get(url(home, "?party=council"))
        counts.append(len(asked))
    assert counts[0] == counts[1]
