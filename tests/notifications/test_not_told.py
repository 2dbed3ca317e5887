"""Who is told, who is not, and why."""

import re
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from notifications import services
from notifications.models import Message, RefusedAddress, Telling
from portfolio.clock import Moment, moment_of
from portfolio.models import Event, Landlord
from portfolio.services.events import verify
from tests.factories import at, make_agency, make_home, make_landlord, make_user, signed_in
from tests.notifications.drafts import put

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("noon")]
GONE: dict[str, Any] = {"is_active": False}


@pytest.fixture
def agent():
    """Told of everything; today's digest is worked out."""
    user = make_user(make_agency("Latchford Lettings"), name="Ann Agent", email="ann@example.org")
    chosen(user)
    return user


def chosen(user: Any, **more: Any) -> None:
    Telling.objects.create(**{"user": user, "worked_out_on": at().day, **more})


def text(response: Any) -> str:
    return " ".join(response.content.decode().split())


def shown(user: Any, query: str = "", *, moment: Moment | None = None) -> dict[str, str]:
    """The words of each row of the page, by the name that it is about."""
    page = text(signed_in(user).get(f"{reverse('not_told')}?{query}"))
    body = page.partition("<tbody>")[2].partition("</tbody>")[0]
    found = {}
    for row in body.split("<tr>")[1:]:
        if 'scope="row"' not in row:  # it says that nobody fits
            continue
        name = re.sub(r"<br>.*", "", row.partition('scope="row">')[2]).strip()
        found[name] = re.sub(r"\s+", " ", re.sub(r"<[^>]*>", " ", row))
    return found


def refuse(agency: Any, email: str, **more: Any) -> RefusedAddress:
    message = put(agency, to_email=email, to_name="Corner Electrics", kind="job")
    told = {"since": at().at - timedelta(days=5), "said": "550 No such person", "message": message}
    return RefusedAddress.objects.create(agency=agency, email=email.lower(), **{**told, **more})


def failed(message: Message, state: str = "failed", **more: Any) -> None:
    told = {"state": state, "next_try_at": None, "withdrawn_why": "Gone." if state == "withdrawn" else ""}
    Message.objects.filter(pk=message.pk).update(**{**told, **more})


def test_who_is_kept_by_nothing_is_shown_as_such_with_what_they_are_told_of(agent):
    row = shown(agent)["Ann Agent"]
    assert row.strip().endswith("Nothing")
    assert "Letting agent with a log-in ann@example.org" in row
    assert "At once: dangers (then daily until made safe), marks withdrawn and homes clear again." in row
    assert "In the digest: papers that run out, duties, jobs without an answer and proof to confirm." in row


@pytest.mark.parametrize(
    ("fields", "telling", "said"),
    [
        (GONE, {}, "The log-in has ended, so nothing is written to it."),
        (
            {},
            {"digest": False},
            "Switched the digest off, so is not reminded of papers that run out, duties,",
        ),
        ({}, {"off": ["duty", "withdrawn"]}, "Chose not to be told of duties or marks withdrawn."),
        ({}, {"quiet_days": [2, 3]}, "Today is a quiet day. The next digest comes on Friday."),
        ({}, {"quiet_days": [2], "hour": 17}, "Today is a quiet day. The next digest comes on Thursday."),
        ({}, {"hour": 13, "worked_out_on": None}, "Today's digest is written from 13:00 on."),
        (
            {},
            {"hour": 12, "worked_out_on": None},
            "Today's digest is not worked out yet. Does the clock run?",
        ),
        ({}, {"worked_out_on": at().day - timedelta(days=1)}, "Today's digest is not worked out yet."),
    ],
)
def test_what_keeps_a_person_from_being_told_is_said_in_words(agent, fields, telling, said):
    other = make_user(agent.agency, name="Bob Agent", **fields)
    chosen(other, **telling)
    assert said.replace("'", "&#x27;") in shown(agent)["Bob Agent"]


def test_an_hour_is_an_hour_in_london(agent, time_machine):
    """13:30 of a summer day in London is 12:30 in UTC."""
    other = make_user(agent.agency, name="Bob Agent")
    moment = moment_of(datetime(2026, 7, 1, 12, 30, tzinfo=UTC))
    chosen(other, hour=13, worked_out_on=moment.day)
    time_machine.move_to(moment.at, tick=False)
    assert shown(agent)["Bob Agent"].strip().endswith("Nothing")
    time_machine.move_to(moment.at - timedelta(hours=1), tick=False)
    assert "written from 13:00 on" in shown(agent)["Bob Agent"]


def test_a_log_in_nobody_has_set_is_told_at_seven(agent):
    make_user(agent.agency, name="Bob Agent")
    assert "not worked out yet" in shown(agent)["Bob Agent"]


def test_a_landlord_is_told_by_log_in_or_of_dangers_or_not_at_all(agent):
    for name, email in (("No Way", ""), ("By Address", "by@example.org"), ("By Log-in", "in@example.org")):
        landlord = make_landlord(agent.agency)
        Landlord.objects.filter(pk=landlord.pk).update(name=name, email=email)
        if name == "By Log-in":
            make_user(agent.agency, "landlord", landlord=landlord, name="Carl", email="carl@example.org")
            make_user(agent.agency, "landlord", landlord=landlord, name="Gone", is_active=False)
    rows = shown(agent)
    assert "Has no log-in and no address, so nothing can be said." in rows["No Way"]
    assert "Has no log-in: of papers and duties nobody is told at this address." in rows["By Address"]
    assert "At once: dangers" in rows["By Address"]
    assert "What the log-in of Carl is told. At once, to this address as well: dangers" in rows["By Log-in"]
    assert rows["By Log-in"].strip().endswith("Nothing")
    assert "Landlord with a log-in, By Log-in carl@example.org" in rows["Carl"]
    assert "proof needed" in rows["Carl"]


@pytest.mark.parametrize("state", ["held", "failed", "withdrawn"])
def test_what_was_not_sent_in_thirty_days_is_counted_with_a_link_to_it(agent, state):
    landlord = make_landlord(agent.agency)
    Landlord.objects.filter(pk=landlord.pk).update(name="By Address", email="by@example.org")
    for days in (0, 30, 31):
        made = at().at - timedelta(days=days)
        failed(put(agent.agency, to_user_id=agent.pk, to_email=agent.email), state, made_at=made)
        failed(put(agent.agency, to_email="by@example.org"), state, made_at=made)
    failed(put(make_agency(), to_email="by@example.org"), state)
    put(agent.agency, to_user_id=agent.pk)
    words = {"held": "held back", "failed": "refused", "withdrawn": "withdrawn"}[state]
    rows = shown(agent)
    for name in ("Ann Agent", "By Address"):
        assert f"2 messages {words} in the last 30 days. See them" in rows[name]
    page = text(signed_in(agent).get(reverse("not_told")))
    assert f"/messages/?q=ann%40example.org&amp;state={state}" in page


def test_a_refused_address_is_shown_wherever_it_is_and_can_be_tried_again(agent):
    landlord = make_landlord(agent.agency)
    Landlord.objects.filter(pk=landlord.pk).update(name="By Address", email="By@Example.org")
    refuse(agent.agency, "by@example.org")
    refuse(agent.agency, "corner@example.org")
    refuse(make_agency(), "ann@example.org")
    rows = shown(agent)
    for name, email in (("By Address", "by@example.org"), ("Corner Electrics", "corner@example.org")):
        assert f"The mail server has refused {email} since 20 Nov 2026 (550 No such person)" in rows[name]
        assert "Try it again" in rows[name]
    assert "Try it again" not in rows["Ann Agent"]
    client = signed_in(agent)
    refused = RefusedAddress.objects.get(email="corner@example.org")
    said = text(client.post(reverse("address_try_again", args=[refused.pk]), follow=True))
    assert "corner@example.org is written to again." in said
    assert "Corner Electrics" not in shown(agent)
    refused.refresh_from_db()
    assert (refused.ended_at, refused.ended_by) == (at().at, agent)
    (event,) = Event.objects.filter(verb="address.tried_again")
    assert (event.actor, event.subject) == (agent, f"address:{refused.pk}")
    assert verify(agent.agency) is None
    said = text(client.post(reverse("address_try_again", args=[refused.pk]), follow=True))
    assert "corner@example.org is written to again already." in said


def test_only_an_agent_of_the_agency_has_an_address_tried_again(agent):
    refused = refuse(agent.agency, "corner@example.org")
    with pytest.raises(services.NotPossible):
        services.address_try_again(refused.pk, actor=make_user(agent.agency, "inspector"), moment=at())
    with pytest.raises(RefusedAddress.DoesNotExist):
        services.address_try_again(refused.pk, actor=make_user(make_agency()), moment=at())
    assert not RefusedAddress.objects.exclude(ended_at=None).exists()


def everybody(agent: Any) -> None:
    """One of each who is kept by something, beside the agent, whom nothing keeps."""
    make_user(agent.agency, name="Gone", **GONE)
    chosen(make_user(agent.agency, name="Digest Off"), digest=False)
    chosen(make_user(agent.agency, name="Less"), off=["duty"])
    chosen(make_user(agent.agency, name="Refused", email="Refused@example.org"))
    refuse(agent.agency, "refused@example.org")
    refuse(agent.agency, "corner@example.org")
    trouble = make_user(agent.agency, name="Trouble")
    chosen(trouble)
    failed(put(agent.agency, to_user_id=trouble.pk))
    for name, email in (("No Way", ""), ("By Address", "by@example.org")):
        landlord = make_landlord(agent.agency)
        Landlord.objects.filter(pk=landlord.pk).update(name=name, email=email)
    failed(put(agent.agency, to_email="by@example.org"), "held")


@pytest.mark.parametrize(
    ("query", "names"),
    [
        ("why=nothing", {"Gone", "No Way", "Corner Electrics"}),
        ("why=dangers", {"Refused", "By Address"}),
        ("why=chosen", {"Digest Off", "Less"}),
        ("why=mail", {"Trouble", "By Address"}),
        ("q=less", {"Less"}),
        ("q=address+by", {"By Address"}),
        ("q=corner", {"Corner Electrics"}),
        ("q=less&why=mail", set()),
    ],
)
def test_the_list_is_narrowed_and_counted_by_what_keeps_people(agent, query, names):
    everybody(agent)
    assert set(shown(agent, query)) == names
    page = text(signed_in(agent).get(reverse("not_told")))
    counts = re.findall(r'tally-n">(\d+)</span>([^<]+)<', page)
    assert counts == [
        ("3", "Nothing reaches them"),
        ("2", "Told of dangers only"),
        ("2", "Chose to be told less"),
        ("2", "Mail held back, refused or withdrawn"),
    ]


def test_nobody_of_another_agency_is_shown(agent):
    everybody(agent)
    other = make_user(make_agency(), name="Other Agent")
    assert set(shown(other)) == {"Other Agent"}


def test_a_search_of_too_many_words_is_refused_with_a_sentence(agent):
    page = text(signed_in(agent).get(reverse("not_told") + "?q=a+b+c+d+e+f+g+h+i"))
    assert "at most 8 words" in page


def test_about_one_home_those_are_shown_whom_it_concerns(agent):
    home, other = (
        make_home(agent.agency, agent, landlord_ref="L1"),
        make_home(agent.agency, landlord_ref="L2"),
    )
    assert home.landlord is not None
    make_user(agent.agency, "inspector", name="Iris")
    make_user(agent.agency, "landlord", landlord=home.landlord, name="Hers")
    make_user(agent.agency, "landlord", landlord=other.landlord, name="Not hers")
    refuse(agent.agency, "corner@example.org")
    rows = shown(agent, f"home={home.pk}")
    assert set(rows) == {"Ann Agent", "Iris", "Hers", home.landlord.name}
    page = text(signed_in(agent).get(f"{reverse('not_told')}?home={home.pk}&why=nothing"))
    assert f"Who is told about {home}" in page
    assert f'name="home" value="{home.pk}"' in page
    link = f"{reverse('not_told')}?home={home.pk}"
    assert link in signed_in(agent).get(reverse("home", args=[home.pk])).content.decode()


def test_a_home_without_landlord_says_that_nobody_else_is_told(agent):
    home = make_home(agent.agency, agent, landlord_ref=None)
    chosen(make_user(agent.agency, "landlord", name="Anybody"))
    page = text(signed_in(agent).get(f"{reverse('not_told')}?home={home.pk}"))
    assert "No landlord is on record for this home, so only your own people are told about it." in page
    assert set(shown(agent, f"home={home.pk}")) == {"Ann Agent"}


@pytest.mark.parametrize("query", ["home=987654321", "home=x", "why=nobody", "page=99"])
def test_an_address_typed_by_hand_breaks_nothing(agent, query):
    answer = signed_in(agent).get(f"{reverse('not_told')}?{query}")
    assert answer.status_code == (404 if query == "home=987654321" else 200)


def test_long_lists_come_in_pages_with_as_many_queries_as_short_ones(agent):
    client = signed_in(agent)

    def asked(page: int) -> int:
        with CaptureQueriesContext(connection) as queries:
            assert client.get(f"{reverse('not_told')}?page={page}").status_code == 200
        return len(queries)

    everybody(agent)
    few = asked(1)
    number = 60
    for n in range(number):
        landlord = make_landlord(agent.agency)
        Landlord.objects.filter(pk=landlord.pk).update(email=f"l{n}@example.org")
        failed(put(agent.agency, to_email=f"l{n}@example.org"))
    Landlord.objects.filter(agency=agent.agency, email="").update(email="x@example.org")
    assert asked(1) <= few <= 20
    assert asked(2) <= few
    first, second = (set(shown(agent, f"page={page}")) for page in (1, 2))
    assert len(first) == 50
    assert not first & second
    assert len(first | second) == number + 9
