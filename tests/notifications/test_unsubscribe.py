"""Ending the digest from within one: by a mail program's one click (RFC 8058), and by the page behind the address."""

import http.client
from contextlib import closing
from typing import Any
from urllib.parse import urlsplit

import pytest
from django.core.signing import Signer
from django.test import Client
from django.urls import reverse

from notifications import sending, unsubscribe
from notifications.compose import composed
from notifications.models import Telling
from portfolio.models import Event
from portfolio.services.events import verify
from portfolio.views.limits import MOST_A_MINUTE
from tests.factories import make_agency, make_user, signed_in
from tests.notifications.drafts import put

pytestmark = pytest.mark.django_db
ONE_CLICK = {"List-Unsubscribe": "One-Click"}
SITE = "https://homes.example.org"


@pytest.fixture(autouse=True)
def _site(settings: Any, noon: None) -> None:
    settings.SNECK_SITE = SITE


@pytest.fixture
def reader():
    return make_user(make_agency("Latchford Lettings"))


def path(user: Any) -> str:
    return unsubscribe.address(user.pk).removeprefix(SITE)


def digest(user: Any, **more: Any) -> Any:
    return put(user.agency, kind="digest", to_user_id=user.pk, to_name=str(user), to_email=user.email, **more)


def wanted(user: Any) -> bool:
    held = Telling.objects.filter(user=user).first()
    return held is None or held.digest


def strict() -> Client:
    """A browser whose forms are checked as they are in service, with no cookie."""
    return Client(enforce_csrf_checks=True)


def test_a_digest_carries_both_headers_and_other_mail_carries_none(reader, office, now):
    digest(reader)
    put(reader.agency, kind="job", to_user_id=reader.pk, to_email="other@example.org")
    sending.send_waiting(now)
    (mail,) = office.to(reader.email)
    there = f"{SITE}{path(reader)}"
    assert mail["List-Unsubscribe"].strip() == f"<{there}>"
    assert mail["List-Unsubscribe-Post"] == "List-Unsubscribe=One-Click"
    (other,) = office.to("other@example.org")
    assert other["List-Unsubscribe"] is None
    assert other["List-Unsubscribe-Post"] is None


def test_a_digest_that_is_tried_again_has_the_same_bytes(reader):
    message = digest(reader)
    first = composed(message)
    assert b"List-Unsubscribe: " in first
    message.refresh_from_db()
    assert composed(message) == first


def test_one_click_is_only_offered_over_https(reader, settings):
    settings.SNECK_SITE = "http://localhost:8000"
    assert set(unsubscribe.headers(digest(reader))) == {"List-Unsubscribe"}


@pytest.mark.parametrize("form", ["multipart/form-data", "application/x-www-form-urlencoded"])
def test_one_click_without_cookie_token_or_referrer_switches_the_digest_off(reader, live_server, form):
    """As a mail program does it: a bare HTTP client that has never seen the page."""
    host = urlsplit(live_server.url)
    body, kind = "List-Unsubscribe=One-Click", form
    if form.startswith("multipart"):
        kind += "; boundary=b"
        body = '--b\r\nContent-Disposition: form-data; name="List-Unsubscribe"\r\n\r\nOne-Click\r\n--b--\r\n'
    for _ in range(2):  # mail programs repeat it
        with closing(http.client.HTTPConnection(host.hostname or "", host.port, timeout=10)) as connection:
            connection.request("POST", path(reader), body, {"Content-Type": kind})
            answer = connection.getresponse()
            page = answer.read().decode()
        assert answer.status == 200
        assert answer.getheader("Set-Cookie") is None
        assert "You get no more digests" in page
        assert "Of dangers you are still told" in page
    assert not wanted(reader)


def test_it_is_recorded_once_and_names_nobody_as_having_done_it(reader):
    for _ in range(3):
        assert strict().post(path(reader), ONE_CLICK).status_code == 200
    (event,) = Event.objects.filter(verb="telling.changed")
    assert event.actor is None
    assert event.says == f"The digest of {reader} was switched off by the address that is in each of them."
    assert verify(reader.agency) is None


@pytest.mark.parametrize("method", ["get", "head"])
def test_looking_at_the_page_changes_nothing(reader, method):
    answer = getattr(strict(), method)(path(reader))
    assert answer.status_code == 200
    assert wanted(reader)
    assert answer["Referrer-Policy"] == "no-referrer"
    assert answer["Cache-Control"] == "no-store"


def test_the_page_has_one_button_which_does_what_one_click_does(reader):
    page = strict().get(path(reader)).content.decode()
    assert page.count("<button") == 1
    assert 'name="List-Unsubscribe" value="One-Click"' in page
    for said in ("Stop the digest?", "Of dangers you are told all the same", reverse("telling"), "Latchford"):
        assert said in page
    for hidden in (reader.email, str(reader)):
        assert hidden not in page


def test_the_page_is_the_readers_whoever_else_is_logged_in(reader):
    other = make_user(reader.agency)
    page = signed_in(other).post(path(reader), ONE_CLICK).content.decode()
    assert str(other) not in page
    assert (wanted(reader), wanted(other)) == (False, True)


def test_a_form_that_says_something_else_does_nothing(reader):
    answer = strict().post(path(reader), {"List-Unsubscribe": "no"})
    assert answer.status_code == 400
    assert "Stop the digest?" in answer.content.decode()
    assert wanted(reader)


@pytest.mark.parametrize(
    "broken", ["{pk}", "{pk}.x", "{other}.{sign}", "{pk}.{sign}x", ".{sign}", "{foreign}", "x.{sign}"]
)
@pytest.mark.parametrize("method", ["get", "post"])
def test_an_address_that_was_not_made_here_is_not_found(reader, broken, method):
    other = make_user(reader.agency)
    pk, _, sign = path(reader).strip("/").rpartition("/")[2].partition(".")
    foreign = Signer(salt="another use", sep=".").sign(pk)
    signed = broken.format(pk=pk, other=other.pk, sign=sign, foreign=foreign)
    answer = getattr(strict(), method)(f"/unsubscribe/{signed}/", ONE_CLICK)
    assert answer.status_code == 404
    assert wanted(reader)
    assert wanted(other)


def test_an_address_of_somebody_who_was_never_here_is_not_found():
    assert strict().get(unsubscribe.address(987654321).removeprefix(SITE)).status_code == 404


def test_too_many_from_one_place_are_sent_away_and_change_nothing(reader):
    client = strict()
    for _ in range(MOST_A_MINUTE):
        client.get("/unsubscribe/1.wrong/")
    assert client.post(path(reader), ONE_CLICK).status_code == 429
    assert wanted(reader)


def test_an_inspector_is_not_promised_dangers(reader):
    inspector = make_user(reader.agency, "inspector")
    assert "dangers" not in strict().get(path(inspector)).content.decode()
    assert "dangers" not in strict().post(path(inspector), ONE_CLICK).content.decode()
