"""Logging in, the second factor, and a forgotten password, on our own pages."""

import re

import pytest
from allauth.account.models import EmailAddress
from allauth.mfa.models import Authenticator
from allauth.mfa.totp.internal.auth import format_hotp_value, hotp_value, yield_hotp_counters_from_time
from django.core import mail
from django.test import Client
from django.urls import reverse

from tests.factories import PASSWORD, make_home

pytestmark = pytest.mark.django_db


def text(response) -> str:
    return " ".join(response.content.decode().split())


def log_in(client, user, password=PASSWORD):
    return client.post(reverse("account_login"), {"login": user.email, "password": password})


def prove(client) -> None:
    """Give the password once more, as is asked before anything about a log-in changes."""
    client.post(reverse("account_reauthenticate"), {"password": PASSWORD})


def code_for(secret: str) -> str:
    """What an app on a phone would show now."""
    return format_hotp_value(hotp_value(secret, next(yield_hotp_counters_from_time())))


def test_the_log_in_asks_for_no_more_than_it_needs_and_offers_no_sign_up():
    page = text(Client().get(reverse("account_login")))
    assert "Log in</h1>" in page
    assert reverse("account_signup") not in page


def test_a_right_password_leads_to_the_homes(agent):
    assert log_in(Client(), agent)["Location"] == reverse("homes")


def test_a_wrong_password_and_an_unknown_address_look_the_same(agent):
    def said(email: str) -> str:
        response = Client().post(reverse("account_login"), {"login": email, "password": "wrong-pass-phrase"})
        assert response.status_code == 200
        return re.sub(r'value="[^"]*"', "", text(response))

    assert said(agent.email) == said("nobody@example.org")


def test_nobody_signs_up():
    for method in ("get", "post"):
        assert "Nobody signs up here" in text(getattr(Client(), method)(reverse("account_signup")))


def test_an_agent_sets_up_the_second_factor_before_seeing_anything(agent, settings):
    settings.SECOND_FACTOR_ROLES = ["agent"]
    home = make_home(agent.agency)
    client = Client()
    log_in(client, agent)
    for name, args in (("homes", []), ("home", [home.pk]), ("document", [1])):
        assert client.get(reverse(name, args=args))["Location"] == reverse("mfa_activate_totp")
    assert "Is it still you?" in text(client.get(reverse("mfa_activate_totp"), follow=True))
    prove(client)
    page = client.get(reverse("mfa_activate_totp"))
    assert "Set up the second factor" in text(page)
    secret = page.context["form"].secret
    assert secret in text(page)
    response = client.post(reverse("mfa_activate_totp"), {"code": code_for(secret)}, follow=True)
    assert "Recovery codes</h1>" in text(response)
    assert client.get(reverse("homes")).status_code == 200


def test_a_wrong_code_sets_nothing_up(agent):
    client = Client()
    log_in(client, agent)
    prove(client)
    secret = client.get(reverse("mfa_activate_totp")).context["form"].secret
    wrong = f"{(int(code_for(secret)) + 1) % 1_000_000:06}"
    assert "errorlist" in text(client.post(reverse("mfa_activate_totp"), {"code": wrong}))
    assert not Authenticator.objects.exists()


def test_with_a_second_factor_the_password_alone_is_not_enough(agent):
    client = Client()
    log_in(client, agent)
    prove(client)
    secret = client.get(reverse("mfa_activate_totp")).context["form"].secret
    client.post(reverse("mfa_activate_totp"), {"code": code_for(secret)})
    codes = Authenticator.objects.get(type="recovery_codes").wrap().get_unused_codes()
    again = Client()
    assert log_in(again, agent)["Location"] == reverse("mfa_authenticate")
    assert again.get(reverse("homes")).status_code == 302
    assert "Second factor</h1>" in text(again.get(reverse("mfa_authenticate")))
    assert again.post(reverse("mfa_authenticate"), {"code": codes[0]})["Location"] == reverse("homes")
    assert "9 left" in text(again.get(reverse("mfa_index")))


def test_a_forgotten_password_is_set_anew_by_the_link_in_the_mail(agent):
    client = Client()
    client.post(reverse("account_reset_password"), {"email": agent.email})
    (message,) = mail.outbox
    link = re.search(r"http://testserver(\S+)", str(message.body))
    assert link
    page = client.get(link.group(1), follow=True)
    assert "Set a new password" in text(page)
    new = "another-invented-phrase"
    client.post(page.request["PATH_INFO"], {"password1": new, "password2": new})
    assert log_in(Client(), agent, new)["Location"] == reverse("homes")
    assert "This link no longer works" in text(Client().get(link.group(1), follow=True))


def test_an_unknown_address_is_answered_like_a_known_one(agent):
    def asked(email: str) -> str:
        return text(Client().post(reverse("account_reset_password"), {"email": email}, follow=True))

    assert asked(agent.email) == asked("nobody@example.org")


def test_nobody_changes_the_address_of_their_own_log_in(agent):
    client = Client()
    client.force_login(agent)
    response = client.post(reverse("account_email"), {"email": "other@example.org", "action_add": ""})
    assert response["Location"] == reverse("mfa_index")
    assert not EmailAddress.objects.filter(email="other@example.org").exists()


def test_logging_out_takes_a_post(agent):
    client = Client()
    client.force_login(agent)
    assert "Log out on this device?" in text(client.get(reverse("account_logout")))
    assert client.get(reverse("homes")).status_code == 200
    client.post(reverse("account_logout"))
    assert client.get(reverse("homes")).status_code == 302
