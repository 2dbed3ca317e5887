"""The page of the house policy: seen by everybody of the agency, changed by its agents in two steps."""

import re
from datetime import date
from html import unescape

import pytest
from celery.exceptions import OperationalError
from django.urls import reverse

from portfolio import gate, house_policy, tasks
from portfolio.law.loader import load
from portfolio.law.policy import Policy, warnings_of
from portfolio.models import Clearance, HousePolicy
from portfolio.policy_words import asked, differences, options
from portfolio.services import policies, policy_preview
from portfolio.views import policy as view
from tests.factories import DAY, at, make_agency, make_home, make_user, signed_in

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("noon")]
BAND_B = {"worst_band": "B"}
TYPED = {"worst_band": "B", "why": "The insurer asks for it.", "seen": "0"}
WARNING = warnings_of(load())[0]


def words(response) -> str:
    text = " ".join(unescape(re.sub(r"<[^>]+>", " ", response.content.decode())).split())
    return re.sub(r" (?=[.,])", "", text)


def see(user, **query) -> str:
    response = signed_in(user).get(reverse("policy"), query)
    assert response.status_code == 200
    return words(response)


@pytest.fixture
def send(agent):
    client = signed_in(agent)
    return lambda **data: client.post(reverse("policy_change"), data)


def come_in(agent, settings, day=DAY):
    row = policies.policy_ask(agent.agency, settings, why=f"Why {settings}", actor=agent, moment=at(day))
    policies.policy_apply(row.pk, moment=at(day))
    return row


def hidden(response) -> dict[str, list[str]]:
    """What the page of the check step carries to the saving."""
    found: dict[str, list[str]] = {}
    for tag in re.findall(r'<input type="hidden"[^>]*>', response.content.decode()):
        name, value = re.search(r'name="([^"]+)"', tag), re.search(r'value="([^"]*)"', tag)
        if name and value and name[1] != "csrfmiddlewaretoken":
            found.setdefault(name[1], []).append(unescape(value[1]))
    return found


def test_without_a_policy_the_page_says_so_and_what_every_home_is_asked(agent):
    said = see(agent)
    assert "No policy is in force" in said
    assert "No house policy has been asked for yet." in said
    assert "In England and Wales E or better, unless an exemption is registered." in said
    assert "C1, C2 and FI bar both letting and sale." in said


def test_the_page_says_what_is_in_force_since_when_by_whom_and_why(agent):
    come_in(agent, BAND_B)
    said = see(agent)
    assert f"Since 25 Nov 2026, 12:00, asked for by {agent.name}. Why: Why {BAND_B}" in said
    assert (
        "Worst energy band that is let In England and Wales E or better, unless an exemption is registered. B or"
        in said
    )
    assert "Worst energy band that is let: B or better (before: nothing more)" in said
    assert "Marks withdrawn: 0." in said


def test_each_change_is_listed_the_latest_first_with_what_it_changed(agent):
    come_in(agent, BAND_B)
    come_in(agent, {"worst_band": "D", "gas_margin_days": 14})
    said = see(agent)
    newer, older = said.index("D or better (before: B or better)"), said.index("B or better (before: nothing")
    assert newer < older
    assert "a later one has followed" in said[older - 400 : older]


def test_one_that_waits_and_one_that_was_replaced_say_so(agent):
    come_in(agent, {"worst_band": "E"})
    policies.policy_ask(agent.agency, BAND_B, why="First.", actor=agent, moment=at())
    policies.policy_ask(agent.agency, {"worst_band": "A"}, why="Second.", actor=agent, moment=at())
    said = see(agent)
    assert "A change is on its way" in said
    assert "Not yet in force." in said
    assert "Never came into force: the next was asked for before it did." in said
    assert "E or better Days" not in said
    assert "Why: First." in said


@pytest.mark.parametrize(
    ("on", "says"),
    [
        ("2026-11-09", "No policy was in force"),
        ("2026-11-10", "In force on 10 Nov 2026"),
        ("2026-11-19", "B or better"),
        ("2026-11-20", "D or better"),
        ("2027-03-01", "D or better"),
    ],
)
def test_another_day_shows_what_was_in_force_at_its_end(agent, on, says):
    come_in(agent, BAND_B, date(2026, 11, 10))
    come_in(agent, {"worst_band": "D"}, date(2026, 11, 20))
    table = see(agent, on=on).partition("How it is counted")[0]
    assert says in table


def test_a_wrong_day_is_a_clear_sentence(agent):
    response = signed_in(agent).get(reverse("policy"), {"on": "never"})
    assert response.status_code == 200
    assert "Enter a valid date" in words(response)


def test_a_day_before_the_law_held_here_is_told_as_such(agent):
    assert "The law of that day is not held here." in see(agent, on="2015-01-01")


@pytest.mark.parametrize("role", ["inspector", "landlord"])
def test_inspectors_and_landlords_see_it_and_cannot_change_it(agent, role):
    come_in(agent, BAND_B)
    user = make_user(agent.agency, role)
    said = see(user)
    assert "B or better" in said
    assert "Change the policy" not in said
    assert signed_in(user).get(reverse("policy_change")).status_code == 404
    assert signed_in(user).post(reverse("policy_change"), TYPED | {"save": "1"}).status_code == 404
    assert HousePolicy.objects.count() == 1


def test_a_landlord_sees_no_count_over_the_agency_s_homes(agent):
    make_home(agent.agency)
    come_in(agent, BAND_B)
    assert "Marks withdrawn" in see(make_user(agent.agency, "inspector"))
    assert "Marks withdrawn" not in see(make_user(agent.agency, "landlord"))


def test_a_landlord_does_not_read_the_agency_s_reasons(agent):
    come_in(agent, BAND_B)
    assert "Why:" in see(make_user(agent.agency, "inspector"))
    assert "Why" not in see(make_user(agent.agency, "landlord"))


def test_another_agency_s_policy_is_nowhere(agent):
    come_in(agent, BAND_B)
    assert "No policy is in force" in see(make_user(make_agency()))


def test_checking_shows_what_it_would_do_and_keeps_nothing(agent, send):
    home = make_home(agent.agency, label="Flat 7")
    gate.mark(home.pk, "let", actor=agent, moment=at())
    response = send(**TYPED, check="1")
    said = words(response)
    assert "Worst energy band that is let: B or better (before: nothing more)" in said
    assert "Homes looked at 1 Could no longer be let 1" in said
    assert "Marks that would be withdrawn 1" in said
    assert "Flat 7, 9 Tannery Row to let The energy band is C; the house policy lets nothing below B." in said
    assert not HousePolicy.objects.exists()
    assert Clearance.objects.get().withdrawn_at is None


def test_saving_what_was_checked_stores_every_kind_of_setting(agent, send):
    typed = {
        "gas_margin_days": "30", "electrical_margin_days": "60", "energy_margin_days": "90", "worst_band": "D",
        "alarm_test_months": "12", "also_dangers.bs7671": ["C3"], "also_dangers.fire": ["moderate", "tolerable"],
        "warnings_that_bar": [WARNING], "repair_days.urgent": "7", "repair_days.plan": "180",
        "why": "Ours.", "seen": "0",
    }  # fmt: skip
    response = send(**hidden(send(**typed, check="1")), save="1")
    assert response.status_code == 302
    row = HousePolicy.objects.get()
    assert row.settings == {
        "gas_margin_days": 30, "electrical_margin_days": 60, "energy_margin_days": 90, "worst_band": "D",
        "alarm_test_months": 12, "also_dangers": {"bs7671": ["C3"], "fire": ["moderate", "tolerable"]},
        "warnings_that_bar": [WARNING], "repair_days": {"urgent": 7, "plan": 180},
    }  # fmt: skip
    assert (row.why, row.asked_by, row.in_force_at) == ("Ours.", agent, None)
    form = signed_in(agent).get(reverse("policy_change")).context["form"]
    assert {name: form[name].value() for name in typed if name not in ("why", "seen")} == {
        name: int(value) if str(value).isdigit() else value
        for name, value in typed.items() if name not in ("why", "seen")
    }  # fmt: skip


def test_saving_hands_the_work_to_a_worker(agent, send, monkeypatch):
    started = []
    monkeypatch.setattr(tasks.policy_apply, "delay", started.append)
    send(**TYPED, save="1")
    assert started == [HousePolicy.objects.get().pk]


def test_without_a_broker_few_homes_are_done_at_once(agent, send, monkeypatch):
    monkeypatch.setattr(tasks.policy_apply, "delay", away)
    home = make_home(agent.agency)
    gate.mark(home.pk, "let", actor=agent, moment=at())
    response = send(**TYPED, save="1")
    assert response["Location"] == reverse("policy")
    assert house_policy.settings_of(agent.agency_id) == BAND_B
    assert Clearance.objects.get().withdrawn_at == at().at


def test_without_a_broker_many_homes_wait_for_the_hourly_work(agent, monkeypatch):
    monkeypatch.setattr(tasks.policy_apply, "delay", away)
    monkeypatch.setattr(view, "MOST_COUNTED", 0)
    make_home(agent.agency)
    response = signed_in(agent).post(reverse("policy_change"), TYPED | {"save": "1"}, follow=True)
    assert "comes into force when the worker is back" in words(response)
    assert policies.waiting() == [HousePolicy.objects.get().pk]


def away(pk):
    raise OperationalError


@pytest.mark.parametrize(
    ("typed", "says"),
    [
        ({"why": ""}, "This field is required."),
        ({"why": "  "}, "This field is required."),
        ({"worst_band": ""}, "Nothing here differs from what is asked already."),
        ({"worst_band": "Z"}, "Select a valid choice."),
        ({"gas_margin_days": "0"}, "Ensure this value is greater than or equal to 1."),
        ({"gas_margin_days": "367"}, "Ensure this value is less than or equal to 366."),
        ({"gas_margin_days": "a month"}, "Enter a whole number."),
        ({"alarm_test_months": "61"}, "Ensure this value is less than or equal to 60."),
        ({"also_dangers.bs7671": ["C1"]}, "Select a valid choice."),
        ({"warnings_that_bar": ["eng_eicr"]}, "Select a valid choice."),
    ],
)
@pytest.mark.parametrize("step", ["check", "save"])
def test_what_cannot_be_is_refused_at_either_step(send, typed, says, step):
    response = send(**TYPED | typed, **{step: "1"})
    assert response.status_code == 200
    if step == "save" and "differs" in says:
        says = "This is what the house policy asks already."
    assert says in words(response)
    assert not HousePolicy.objects.exists()


def test_a_page_opened_before_somebody_else_s_change_saves_nothing(agent, send):
    come_in(agent, {"worst_band": "E"})
    assert "Somebody has asked for another house policy since" in words(send(**TYPED, save="1"))
    assert HousePolicy.objects.count() == 1


def test_change_something_goes_back_with_what_was_typed(send):
    response = send(**TYPED, change="1")
    assert response.context["form"]["worst_band"].value() == "B"
    assert "Check what it would do" in words(response)


def test_too_many_homes_are_told_as_not_counted(agent, send, monkeypatch):
    make_home(agent.agency)
    monkeypatch.setattr(policy_preview, "MOST_COUNTED", 0)
    assert "You have 1 homes. More than 2000 are not counted" in words(send(**TYPED, check="1"))


def test_the_page_costs_as_many_queries_whatever_the_homes_and_changes(agent, django_assert_max_num_queries):
    for number in range(1, 5):
        make_home(agent.agency)
        come_in(agent, {"gas_margin_days": number})
    client = signed_in(agent)
    with django_assert_max_num_queries(6):
        client.get(reverse("policy"))


def test_every_setting_can_be_said_in_words_and_typed():
    """A setting added to the policy and to no page would be asked without anybody seeing it."""
    book = load()
    shown = {option.name.partition(".")[0] for option in options(book, DAY)}
    assert shown == {field for field in Policy.__dataclass_fields__}


@pytest.mark.parametrize(
    ("held", "name", "says"),
    [
        ({"gas_margin_days": 1}, "gas_margin_days", "1 day"),
        ({"gas_margin_days": 30}, "gas_margin_days", "30 days"),
        ({"alarm_test_months": 12}, "alarm_test_months", "12 months"),
        ({"worst_band": "A"}, "worst_band", "A"),
        ({"also_dangers": {"bs7671": ["C3"]}}, "also_dangers.bs7671", "C3: improvement recommended"),
        ({"also_dangers": {"bs7671": ["C3"]}}, "also_dangers.fire", ""),
        ({"warnings_that_bar": ["gone_since"]}, "warnings_that_bar", "gone_since"),
        ({"repair_days": {"urgent": 7}}, "repair_days.urgent", "7 days"),
        ({"repair_days": {"urgent": 7}}, "repair_days.soon", ""),
        ({}, "repair_days.plan", ""),
        ({}, "worst_band", ""),
    ],
)
def test_settings_in_words(held, name, says):
    assert asked(held, name, load()) == says


def test_two_policies_that_ask_the_same_differ_in_nothing():
    assert differences(BAND_B, BAND_B, load(), DAY) == []
    assert differences(BAND_B, {}, load(), DAY) == [
        "Worst energy band that is let: nothing more (before: B or better)"
    ]
