"""Encryption and log-in, and dots, against a real mail server."""

import smtplib
import ssl
import subprocess

import pytest
from django.conf import settings as project

from notifications.transport import NoPost, Outcome, Post
from portfolio.demo.programs import free_port
from tests.notifications import post_office


@pytest.fixture(scope="module")
def certificate(tmp_path_factory):
    """A certificate that this machine's mail server shows, and that is trusted if its file is named so."""
    folder = tmp_path_factory.mktemp("certificate")
    subprocess.run(
        [
            "openssl", "req", "-x509", "-newkey", "rsa:2048", "-nodes", "-days", "30000", "-subj", "/CN=localhost",
            "-addext", "subjectAltName=DNS:localhost", "-keyout", folder / "key", "-out", folder / "certificate",
        ],
        check=True,
        capture_output=True,
    )  # fmt: skip
    return folder


@pytest.fixture
def server(certificate):
    context = ssl.create_default_context(ssl.Purpose.CLIENT_AUTH)
    context.load_cert_chain(certificate / "certificate", certificate / "key")
    return context


@pytest.fixture
def at_office(settings):
    def told(office, **more):
        settings.EMAIL_HOST, settings.EMAIL_PORT, settings.EMAIL_TIMEOUT = "localhost", office.port, 3
        for name, value in more.items():
            setattr(settings, name, value)

    return told


# The server that is asked for a log-in without encryption says so, loudly; here nobody else can read it.
IN_CLEAR = pytest.mark.filterwarnings("ignore:Requiring AUTH while not requiring TLS")


def handed_over(content=b"Subject: Hello\r\n\r\nText\r\n"):
    with Post() as post:
        return post.send("sneck@example.org", "ann@example.org", content)


@IN_CLEAR
@pytest.mark.parametrize("way", ["tls", "starttls"])
def test_mail_goes_encrypted_with_a_log_in(way, server, certificate, at_office, monkeypatch):
    monkeypatch.setenv("SSL_CERT_FILE", str(certificate / "certificate"))
    with post_office.opened(**{way: server}, password="right") as office:
        secure = {"EMAIL_USE_TLS": way == "starttls", "EMAIL_USE_SSL": way == "tls"}
        at_office(office, EMAIL_HOST_USER="sneck", EMAIL_HOST_PASSWORD="right", **secure)
        assert handed_over().outcome is Outcome.TAKEN
        assert len(office.came) == 1


def test_mail_goes_encrypted_without_a_log_in_as_well(server, certificate, at_office, monkeypatch):
    """What was said before the encryption counts no more: the server has to be greeted anew (RFC 3207)."""
    monkeypatch.setenv("SSL_CERT_FILE", str(certificate / "certificate"))
    with post_office.opened(starttls=server) as office:
        at_office(office, EMAIL_USE_TLS=True)
        with Post() as post:
            for recipient in ("ann@example.org", "jörg@example.org"):
                answer = post.send("sneck@example.org", recipient, b"Subject: Hello\r\n\r\nText\r\n")
                assert answer.outcome is Outcome.TAKEN, answer.said


def test_a_server_whose_certificate_is_not_trusted_gets_nothing(server, at_office):
    with post_office.opened(starttls=server) as office:
        at_office(office, EMAIL_USE_TLS=True)
        with pytest.raises(NoPost, match="did not let us in.*certificate"):
            handed_over()
        assert office.came == []


def test_a_server_without_encryption_gets_nothing_where_it_is_asked_for(at_office):
    with post_office.opened() as office:
        at_office(office, EMAIL_USE_TLS=True)
        with pytest.raises(NoPost, match="STARTTLS"):
            handed_over()
        assert office.came == []


@IN_CLEAR
def test_a_wrong_password_is_no_fault_of_the_message(at_office):
    with post_office.opened(password="right") as office:
        at_office(office, EMAIL_HOST_USER="sneck", EMAIL_HOST_PASSWORD="wrong")
        with pytest.raises(NoPost, match="535"):
            handed_over()


@IN_CLEAR
def test_a_password_is_not_sent_where_anybody_can_read_it(at_office, monkeypatch):
    reached = smtplib.SMTP.connect
    monkeypatch.setattr(smtplib.SMTP, "connect", lambda self, host, port: reached(self, "localhost", port))
    with post_office.opened(password="right") as office:
        at_office(office, EMAIL_HOST_USER="sneck", EMAIL_HOST_PASSWORD="right")
        project.EMAIL_HOST = "mail.example.org"
        with pytest.raises(NoPost, match="set SNECK_SMTP_SECURITY"):
            handed_over()


def test_no_server_at_all_is_told_with_its_name(settings):
    settings.EMAIL_HOST, settings.EMAIL_PORT = "127.0.0.1", free_port()
    with pytest.raises(NoPost, match=f"127.0.0.1:{settings.EMAIL_PORT} cannot be reached"):
        handed_over()


def test_lines_that_begin_with_a_dot_arrive_as_they_were(at_office):
    with post_office.opened() as office:
        at_office(office)
        handed_over(b"Subject: Dots\r\n\r\n.one\r\n..two\r\n.\r\nend\r\n")
        ((_, mail),) = office.came
        assert mail.get_payload() == ".one\r\n..two\r\n.\r\nend\r\n"


@pytest.mark.parametrize(
    ("script", "outcome"),
    [
        ("rcpt 530 Log in first", Outcome.AGAIN),
        ("data 535 Log in first", Outcome.AGAIN),
        ("rcpt 550 No such person", Outcome.NEVER),
        ("data 554 Not wanted", Outcome.NEVER),
        ("data 421 Closing", Outcome.AGAIN),
        ("data 299 Odd but kind", Outcome.TAKEN),
        ("data 354 Nonsense", Outcome.LOST),
        ("data drop", Outcome.LOST),
        ("rcpt drop", Outcome.AGAIN),
    ],
)
def test_answers_are_sorted(script, outcome, at_office):
    with post_office.opened() as office:
        at_office(office)
        office.script = lambda recipient, time: script
        assert handed_over().outcome is outcome


@pytest.mark.parametrize(("utf8", "outcome"), [(True, Outcome.TAKEN), (False, Outcome.NEVER)])
def test_an_address_with_other_letters_is_for_servers_that_know_them(at_office, utf8, outcome):
    with post_office.opened(utf8=utf8) as office:
        at_office(office)
        with Post() as post:
            answer = post.send("a@example.org", "jürgen@example.org", b"x")
            assert (answer.outcome, answer.of_address) == (outcome, not utf8)
            assert post.send("a@example.org", "ann@example.org", b"x").outcome is Outcome.TAKEN
        assert office.connections == 1


@pytest.mark.parametrize(
    ("script", "of_address"),
    [
        ("rcpt 550 No such person", True),
        ("rcpt 550 5.1.1 No such person", True),
        ("rcpt 550 5.2.1 Mailbox closed", True),
        ("rcpt 550 5.4.1 Recipient address rejected: Access denied", True),
        ("rcpt 553 5.0.0 Not here", True),
        ("rcpt 501 5.1.3 Bad address", True),
        ("rcpt 451 4.1.1 Not just now", False),
        ("rcpt 550 5.7.1 Not from you", False),
        ("rcpt 554 5.7.606 Your network is banned", False),
        ("rcpt 552 5.2.2 Mailbox full", False),
        ("rcpt 552 Mailbox full", False),
        ("rcpt 550 5.1.8 Sender's domain does not exist", False),
        ("rcpt 550 5.3.4 Too big", False),
        ("rcpt 550 relay not permitted", False),
        ("rcpt 554 Blocked: see our policy", False),
        ("rcpt 503 Bad sequence", False),
        ("rcpt 530 Log in first", False),
        ("data 550 No such person", False),
    ],
)
def test_a_refusal_of_the_address_is_told_from_all_others(script, of_address, at_office):
    with post_office.opened() as office:
        at_office(office)
        office.script = lambda recipient, time: script
        assert handed_over().of_address is of_address
