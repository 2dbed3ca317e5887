"""Acts on the page of a home: not recorded, none so far, or listed."""

import pytest
from django.urls import reverse

from portfolio import standing
from portfolio.facts import facts_of
from portfolio.law import model as law
from portfolio.models import Event
from portfolio.services.events import verify
from portfolio.services.homes import act_add
from tests.factories import DAY, at, make_home, make_user, signed_in

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("noon")]

ASKED = "whether anything of this kind was done"
NONE = "Nothing of the kind was done so far"


@pytest.fixture
def home(agent):
    """Let, with nothing said of what was done."""
    tenancy = law.Tenancy("t1", DAY, DAY)
    return make_home(agent.agency, events=None, tenancies=(tenancy,))


def page_of(client, home, name: str = "home") -> str:
    response = client.get(reverse(name, args=[home.pk]))
    assert response.status_code == 200
    return " ".join(response.content.decode().split())


def events_of(home):
    return facts_of([home.pk])[home.pk][1].events


def state_of(home, requirement: str) -> law.State:
    said = standing.on_day([home.pk], DAY)[home.pk]
    return next(one.state for one in said.requirements if one.id == requirement)


def test_what_nobody_said_is_asked_for_in_words_a_person_would_use(as_agent, home):
    page = page_of(as_agent, home)
    assert f"Not recorded: {ASKED}: copies given, requests received" in page
    assert "even if it is empty" not in page
    assert NONE in page
    assert f"It is not recorded {ASKED}" in page_of(as_agent, home, "act_add")


@pytest.mark.parametrize("name", ["home", "act_add"])
def test_that_nothing_was_done_is_recorded_with_one_button(as_agent, home, name):
    assert f'action="{reverse("acts_none", args=[home.pk])}"' in page_of(as_agent, home, name)
    assert state_of(home, "eng_deposit") is law.State.UNKNOWN
    response = as_agent.post(reverse("acts_none", args=[home.pk]))
    assert response["Location"] == reverse("home", args=[home.pk])
    assert events_of(home) == ()
    assert state_of(home, "eng_deposit") is law.State.NOT_APPLICABLE
    page = page_of(as_agent, home)
    assert "Nothing so far." in page
    assert NONE not in page
    assert ASKED not in page
    assert ASKED not in page_of(as_agent, home, "act_add")


def test_it_leaves_a_line_in_the_record_once(as_agent, agent, home):
    before = Event.objects.filter(unit=home).count()
    for _ in range(2):
        as_agent.post(reverse("acts_none", args=[home.pk]))
    (line,) = Event.objects.filter(unit=home).order_by("seq")[before:]
    assert line.actor == agent
    assert line.says.startswith("Nothing the law counts was done so far")
    assert verify(agent.agency) is None


def test_an_act_recorded_later_takes_it_back(as_agent, agent, home):
    as_agent.post(reverse("acts_none", args=[home.pk]))
    act_add(home.pk, law.Act("deposit_received", "t1", "tenant", DAY), actor=agent, moment=at())
    page = page_of(as_agent, home)
    assert "Nothing so far." not in page
    assert "Deposit received" in page


def test_acts_on_record_are_not_undone_by_a_page_left_open(as_agent, agent, home):
    act_add(home.pk, law.Act("deposit_received", "t1", "tenant", DAY), actor=agent, moment=at())
    lines = Event.objects.count()
    as_agent.post(reverse("acts_none", args=[home.pk]))
    assert [act.what for act in events_of(home)] == ["deposit_received"]
    assert Event.objects.count() == lines


def test_a_landlord_sees_that_it_is_open_but_cannot_answer(agent, home):
    landlord = signed_in(make_user(agent.agency, "landlord", landlord=home.landlord))
    page = page_of(landlord, home)
    assert f"It is not recorded {ASKED}" in page
    assert NONE not in page
    assert landlord.post(reverse("acts_none", args=[home.pk])).status_code == 404
    assert events_of(home) is None


def test_an_earlier_record_offers_no_button(as_agent, home):
    response = as_agent.get(reverse("home", args=[home.pk]), {"known": DAY.isoformat()})
    assert NONE not in response.content.decode()
