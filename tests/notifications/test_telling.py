"""How a person asks to be told: kept, recorded, and respected when a message's turn comes."""

from typing import Any

import pytest
from django.core.exceptions import ValidationError
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from notifications import causes, sending, telling
from notifications.models import Message, Telling
from notifications.words import MAY_BE_OFF, REACHES
from portfolio.models import Event
from portfolio.services.events import verify
from tests.factories import at, make_agency, make_user, signed_in
from tests.notifications.drafts import put

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("noon")]


@pytest.fixture
def agent():
    return make_user(make_agency("Latchford Lettings"))


def choose(user: Any, **changes: Any) -> Telling:
    wishes: dict[str, Any] = {"hour": 7, "quiet_days": [], "off": [], "digest": True}
    return telling.telling_set(**{**wishes, **changes}, actor=user, moment=at())


def text(response: Any) -> str:
    return " ".join(response.content.decode().split())


def test_without_a_word_everybody_is_told_of_everything_at_seven(agent):
    held = telling.of(agent)
    assert (held.hour, held.quiet_days, held.off, held.digest) == (7, [], [], True)
    assert held.pk is None
    assert not Telling.objects.exists()


def test_what_is_chosen_is_kept_in_order_and_recorded_once(agent):
    wishes: dict[str, Any] = {"hour": 17, "quiet_days": [6, 5], "off": ["home_clear", "renewal"]}
    choose(agent, **wishes)
    kept = Telling.objects.get(user=agent)
    assert (kept.hour, kept.quiet_days, kept.off, kept.digest) == (
        17,
        [5, 6],
        ["renewal", "home_clear"],
        True,
    )
    choose(agent, **wishes)  # nothing differs
    (event,) = Event.objects.filter(verb="telling.changed")
    assert event.says == (
        f"{agent} chose how to be told: a digest from 17:00, but not on Saturday and Sunday; "
        "nothing of papers that run out or homes clear again."
    )
    assert (event.actor, event.subject) == (agent, f"user:{agent.pk}")
    assert verify(agent.agency) is None


@pytest.mark.parametrize(
    ("changes", "field", "said"),
    [
        ({"hour": 24}, "hour", "from 00:00 to 23:00"),
        ({"hour": -1}, "hour", "from 00:00 to 23:00"),
        ({"quiet_days": [7]}, "quiet_days", "days of the week"),
        ({"quiet_days": range(7)}, "quiet_days", "Leave at least one day, or switch the digest off"),
        ({"off": ["danger"]}, "wanted", "Choose from what you are told of"),
        ({"off": ["dangers"]}, "wanted", "Choose from what you are told of"),
        ({"off": ["proof_needed"]}, "wanted", "Choose from what you are told of"),
    ],
)
def test_what_cannot_be_is_refused_by_field_and_nothing_is_kept(agent, changes, field, said):
    with pytest.raises(ValidationError) as wrong:
        choose(agent, **changes)
    assert said in wrong.value.message_dict[field][0]
    assert not Telling.objects.exists()
    assert not Event.objects.exists()


@pytest.mark.parametrize("role", REACHES)
def test_the_page_offers_each_role_what_it_is_told_of_and_no_other_subject(agent, role):
    page = text(signed_in(make_user(agent.agency, role)).get(reverse("telling")))
    offered = {kind for kind in MAY_BE_OFF if f'name="wanted" value="{kind}"' in page}
    assert offered == set(REACHES[role])
    assert ("Dangers: always." in page) == (role != "inspector")
    assert ("your homes, so a danger" in page) == (role == "landlord")
    assert 'value="danger"' not in page


def test_the_page_keeps_ones_own_and_nobody_elses(agent):
    other = make_user(agent.agency)
    sent = {"digest": "no", "hour": "9", "quiet_days": ["5", "6"], "wanted": ["duty", "home_clear"]}
    answer = signed_in(agent).post(reverse("telling"), sent, follow=True)
    assert "Kept. It holds from the next message on." in text(answer)
    kept = Telling.objects.get()
    assert (kept.user, kept.hour, kept.quiet_days, kept.digest) == (agent, 9, [5, 6], False)
    assert kept.off == ["renewal", "job_unanswered", "proof_to_confirm", "withdrawn"]
    page = answer.content.decode()
    for value, ticked in (("renewal", False), ("duty", True), ("home_clear", True)):
        (box,) = [line for line in page.split("<input") if f'name="wanted" value="{value}"' in line]
        assert ("checked" in box.partition(">")[0]) == ticked
    assert telling.of(other).pk is None


def test_the_page_says_what_is_wrong_and_keeps_nothing(agent):
    sent = {"digest": "yes", "hour": "7", "quiet_days": list("0123456"), "wanted": ["duty"]}
    page = text(signed_in(agent).post(reverse("telling"), sent))
    assert "Not yet: 1 thing to put right" in page
    assert "Leave at least one day" in page
    assert not Telling.objects.exists()


def test_who_switched_the_digest_off_by_its_address_can_switch_it_on_again(agent):
    assert telling.digest_end(agent.pk, moment=at())
    assert not telling.digest_end(agent.pk, moment=at())
    choose(agent)
    assert telling.of(agent).digest


@pytest.mark.parametrize(
    ("kind", "wishes", "why"),
    [
        ("digest", {"digest": False}, "{} switched the digest off."),
        ("digest", {"off": ["renewal"]}, ""),
        ("withdrawn", {"off": ["withdrawn"]}, "{} chose not to be told of marks withdrawn."),
        ("home_clear", {"off": ["home_clear"]}, "{} chose not to be told of homes clear again."),
        ("home_clear", {"off": ["withdrawn"], "digest": False}, ""),
        ("sent_back", {"off": ["withdrawn", "home_clear"], "digest": False}, ""),
    ],
)
def test_what_somebody_chose_not_to_be_told_of_is_withdrawn_at_its_turn(
    agent, office, now, kind, wishes, why
):
    choose(agent, **wishes)
    message = put(agent.agency, kind=kind, to_user_id=agent.pk, to_name=str(agent), to_email=agent.email)
    sending.send_waiting(now)
    message.refresh_from_db()
    assert message.withdrawn_why == why.format(agent)
    assert message.state == ("withdrawn" if why else "sent")
    assert len(office.to(agent.email)) == (not why)


@pytest.mark.parametrize("kind", ["danger", "dangers"])
def test_dangers_are_sent_whatever_is_stored(agent, settings, kind):
    settings.NOTIFICATION_CAUSES = {}
    Telling.objects.create(user=agent, digest=False, quiet_days=list(range(7)), off=[kind, *MAY_BE_OFF])
    message = put(agent.agency, kind=kind, to_user_id=agent.pk)
    assert causes.why_not(message) == ""


@pytest.mark.parametrize("others", [1, 6])
def test_what_was_chosen_is_asked_once_for_all_that_is_due(agent, office, now, others):
    for user in [agent, *(make_user(agent.agency) for _ in range(others))]:
        put(agent.agency, kind="home_clear", to_user_id=user.pk)
    put(agent.agency)
    choose(agent, off=["home_clear"])
    with CaptureQueriesContext(connection) as asked:
        sending.send_waiting(now)
    assert len([one for one in asked.captured_queries if "notifications_telling" in one["sql"]]) <= 2
    states = sorted(Message.objects.values_list("state", flat=True))
    assert states == ["sent"] * (others + 1) + ["withdrawn"]
