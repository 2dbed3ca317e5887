"""Addresses with letters beyond ASCII: where mail goes, and where it cannot."""

import pytest

from notifications import sending
from notifications.addresses import Unwritable, for_wire, needs_utf8
from notifications.models import Message
from tests.factories import make_agency
from tests.notifications import post_office
from tests.notifications.drafts import put


@pytest.mark.parametrize(
    ("email", "written"),
    [
        ("ann@example.org", "ann@example.org"),
        ("Ann.O'Neil+x@Example.ORG", "Ann.O'Neil+x@Example.ORG"),
        ("ann@bücher.example", "ann@xn--bcher-kva.example"),
        ("ann@BÜCHER.example", "ann@xn--bcher-kva.example"),
        ("ann@bu\u0308cher.example", "ann@xn--bcher-kva.example"),
        ("ann@xn--bcher-kva.example", "ann@xn--bcher-kva.example"),
        # RFC 5894, section 7.2: these are letters of their own and not ss and σ.
        ("ann@straße.example", "ann@xn--strae-oqa.example"),
        ("ann@STRAẞE.example", "ann@xn--strae-oqa.example"),
        ("ann@βόλος.example", "ann@xn--nxasmm1c.example"),
        ("ann@例え。テスト", "ann@xn--r8jz45g.xn--zckzah"),
        ("jürgen@bücher.example", "jürgen@xn--bcher-kva.example"),
    ],
)
def test_domains_are_written_in_ascii_and_the_rest_as_it_is(email, written):
    assert for_wire(email) == written


@pytest.mark.parametrize(
    "email", ["ann@ü..example", f"ann@{'ü' * 64}.example", "ann@a\u200db.example", "ann@ü\u2028.example"]
)
def test_what_is_no_domain_is_said_with_a_cure(email):
    with pytest.raises(Unwritable, match="Correct the address"):
        for_wire(email)


def test_only_the_part_before_the_at_needs_a_server_that_knows_more_letters():
    assert needs_utf8("jürgen@example.org")
    assert not needs_utf8("ann@bücher.example")


@pytest.mark.django_db
def test_mail_to_a_domain_with_other_letters_is_delivered(office, now):
    message = put(make_agency(), to_email="ann@bücher.example", reply_to="bo@straße.example")
    sending.send_waiting(now)
    (mail,) = office.to("ann@xn--bcher-kva.example")
    assert mail["To"].addresses[0].addr_spec == "ann@xn--bcher-kva.example"
    assert mail["Reply-To"] == "bo@xn--strae-oqa.example"
    assert Message.objects.get(pk=message.pk).state == "sent"


@pytest.mark.django_db
def test_other_letters_before_the_at_go_to_a_server_that_knows_them(office, now):
    put(make_agency(), to_email="jürgen@bücher.example", reply_to="zoë@example.org")
    sending.send_waiting(now)
    (mail,) = office.to("jürgen@xn--bcher-kva.example")
    assert mail["To"] == "jürgen@xn--bcher-kva.example"
    assert mail["Reply-To"] is None
    assert "pound sign: £" in mail.get_body(("plain",)).get_content()


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("email", "said"),
    [
        ("jürgen@example.org", "offers SMTPUTF8"),
        ("ann@ü\u2028.example", "Correct the address."),
    ],
)
def test_what_cannot_be_delivered_fails_at_once_and_says_what_to_do(settings, now, email, said):
    with post_office.opened(utf8=False) as office:
        settings.EMAIL_HOST, settings.EMAIL_PORT = "127.0.0.1", office.port
        agency = make_agency()
        message, other = put(agency, to_email=email), put(agency)
        sending.send_waiting(now)
        kept = Message.objects.get(pk=message.pk)
        assert (kept.state, kept.tries) == ("failed", 1)
        assert said in kept.server_said
        assert [reader for reader, _ in office.came] == [other.to_email]
