"""What pages and mails say, and to whom: once, in plain words, with a way on."""

from dataclasses import replace
from datetime import date

import pytest
from django.core import mail
from django.test import Client
from django.urls import reverse

from portfolio import gate, words
from portfolio.law import model as law
from portfolio.models import Landlord
from portfolio.services.take_in import take_in
from tests.factories import BUILDING, CLEAR_FLAT, DAY, at, make_home, make_user, without

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("noon")]

C1 = law.Defect("d1", "bs7671", "C1", "Bare wires", date(2026, 11, 20))
TENANT_IN = (law.Tenancy("t", granted=date(2026, 1, 1), starts=date(2026, 1, 2)),)


def page(user, name, *args, **asked) -> str:
    client = Client()
    client.force_login(user)
    return " ".join(client.get(reverse(name, args=args), asked).content.decode().split())


def make_house(agency, name: str) -> None:
    building = replace(BUILDING, ref=name, name=name)
    unit = replace(CLEAR_FLAT, ref=name, building=name, label=None)
    take_in(law.Portfolio((building,), (unit,)), agency=agency, actor=None, moment=at())


@pytest.mark.parametrize("asked", [{}, {"on": "2026-11-26"}, {"sort": "home"}])
def test_houses_stand_along_their_street(agent, asked):
    for name in ("10 Plumb Lane", "2 Plumb Lane", "Mill House", "11 Bodkin Street", "9 Plumb Lane"):
        make_house(agent.agency, name)
    client = Client()
    client.force_login(agent)
    rows = client.get(reverse("homes"), asked).context["table"].rows
    assert [row.record.building.name for row in rows] == [
        "11 Bodkin Street", "Mill House", "2 Plumb Lane", "9 Plumb Lane", "10 Plumb Lane"
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("said", "shown"),
    [
        (
            "Not recorded: whether the alarm works (alarms.working).",
            "Not recorded: whether the alarm works.",
        ),
        (
            "While it is let: not recorded: the kind (letting.kind).",
            "While it is let: not recorded: the kind.",
        ),
        (
            "A defect coded C1 (electrical) (mould) is open.",
            "A defect coded C1 (electrical) (mould) is open.",
        ),
        ("The day is not a good one (really).", "The day is not a good one (really)."),
    ],
)
def test_only_the_name_of_a_missing_field_is_left_out(said, shown):
    assert words.plainly(said) == shown


@pytest.mark.parametrize(
    ("scheme", "code", "says"),
    [
        ("bs7671", "C2", "A defect coded C2 (electrical) (Bad) is open."),
        ("igem_g11", "AR", "A defect coded AR (gas) (Bad) is open."),
        ("damp_mould", "emergency", "Damp or mould classed ‘emergency’ (Bad) is open."),
        ("fire", "substantial", "A fire defect classed ‘substantial’ (Bad) is open."),
        ("other", "danger", "A defect classed ‘danger’ (Bad) is open."),
    ],
)
def test_codes_of_standards_are_codes_and_our_own_classes_are_words(agent, scheme, code, says):
    home = make_home(agent.agency, defects=(law.Defect("d1", scheme, code, "Bad", DAY),))
    assert home.standing.let_first == says


def test_board_page_and_download_name_no_field(agent):
    home = make_home(agent.agency, alarms=None)
    for shown in (page(agent, "homes"), page(agent, "home", home.pk), page(agent, "homes_download", "csv")):
        assert "Not recorded: " in shown
        assert "(alarms)" not in shown


def test_what_goes_on_while_the_home_is_let_is_said_beside_its_bar_and_not_again(agent):
    shown = page(agent, "home", make_home(agent.agency, defects=(C1,), tenancies=TENANT_IN).pk)
    assert "this goes on for those who live in it" in shown
    assert "While the home is let" not in shown
    assert "(Bare wires) is open.</p>" in shown


def test_nothing_goes_on_in_an_empty_home(agent):
    shown = page(agent, "home", make_home(agent.agency, defects=(C1,)).pk)
    assert "this goes on for those who live in it" not in shown


def test_a_mark_that_ended_says_when_and_why(agent):
    home = make_home(agent.agency)
    gate.mark(home.pk, "let", actor=agent, moment=at())
    gate.unmark(home.pk, "let", why="The owner moves in.", actor=agent, moment=at())
    shown = page(agent, "home", home.pk)
    assert "was taken back on" in shown
    assert "The owner moves in." in shown
    gate.mark(home.pk, "let", actor=agent, moment=at())
    assert "was taken back on" not in page(agent, "home", home.pk)


def test_a_mark_whose_days_are_over_says_so_before_the_night_has_taken_it(agent, time_machine):
    home = make_home(agent.agency)
    gate.mark(home.pk, "let", actor=agent, moment=at())
    time_machine.move_to(at(date(2027, 5, 21)).at, tick=False)
    assert 'ran out after <time datetime="2027-05-20">' in page(agent, "home", home.pk)


def test_on_another_day_a_mark_is_said_to_be_of_today(agent):
    gate.mark(make_home(agent.agency).pk, "let", actor=agent, moment=at())
    assert "Marked to let</span>" in page(agent, "homes")
    assert "Marked to let today</span>" in page(agent, "homes", on="2027-06-01")


def test_a_landlord_is_told_who_records_what_and_sees_no_column_of_one_name(agent):
    home = make_home(agent.agency, alarms=None, landlord_ref="L1")
    landlord = Landlord.objects.get(agency=agent.agency, ref="L1")
    owner = make_user(agent.agency, "landlord", landlord=landlord)
    assert "Your letting agent can record it." in page(owner, "home", home.pk)
    assert 'data-label="Landlord"' not in page(owner, "homes")
    assert "Your letting agent can record it." not in page(agent, "home", home.pk)
    assert 'data-label="Landlord"' in page(agent, "homes")


def test_an_agency_without_homes_is_led_to_its_first_list(agent):
    assert "Import your list" in page(agent, "homes")
    assert "Import your list" not in page(make_user(agent.agency, "inspector"), "homes")
    make_home(agent.agency)
    assert "Import your list" not in page(agent, "homes")
    assert "No home fits" in page(agent, "homes", q="nowhere")


def test_trade_codes_keep_their_letters(agent):
    checked = law.Certificate(
        "g2",
        "gas_safety_record",
        inspected=date(2026, 11, 1),
        appliances=(law.ApplianceCheck("boiler", "id"),),
    )
    home = make_home(agent.agency, certificates=(*without(CLEAR_FLAT, "g1").certificates, checked))
    assert "Immediately Dangerous (ID)" in page(agent, "home", home.pk)


def test_mail_about_a_password_is_ours(agent):
    for address in (agent.email, "nobody@example.org"):
        Client().post(reverse("account_reset_password"), {"email": address})
    known, unknown = mail.outbox
    assert known.subject == "Set a new password for Sneck"
    assert "It works once" in known.body
    assert unknown.subject == "No log-in for Sneck with this address"
    assert reverse("account_signup") not in unknown.body
    assert not any("Thank you for using" in one.body for one in mail.outbox)


def test_a_wrong_password_is_told_in_our_words(agent):
    tried = {"login": agent.email, "password": "not it"}
    shown = Client().post(reverse("account_login"), tried).content.decode()
    assert "This address and this password do not go together." in shown
