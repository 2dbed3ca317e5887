"""A message as it goes over the wire, read back by Python's own parser."""

from email import message_from_bytes, policy
from email.message import EmailMessage

import pytest
from icalendar import Calendar

from notifications.compose import composed
from notifications.models import Message
from notifications.outbox import File
from tests.factories import at, make_agency
from tests.notifications.drafts import put

pytestmark = pytest.mark.django_db
ENTRY = (
    b"BEGIN:VCALENDAR\r\nVERSION:2.0\r\nPRODID:-//Tests//EN\r\nMETHOD:REQUEST\r\nBEGIN:VEVENT\r\nUID:1@example.org\r\n"
    b"DTSTAMP:20261125T120000Z\r\nDTSTART;VALUE=DATE:20261201\r\nEND:VEVENT\r\nEND:VCALENDAR\r\n"
)


def wire(message: Message) -> bytes:
    return composed(Message.objects.get(pk=message.pk))


def read(raw: bytes) -> EmailMessage:
    return message_from_bytes(raw, _class=EmailMessage, policy=policy.default)


def test_headers_say_who_writes_for_whom_when_and_that_a_machine_does():
    message = put(make_agency("Latchford & Söhne, Lettings"), reply_to="agent@example.org")
    mail = read(wire(message))
    (sender,) = mail["From"].addresses
    assert (sender.display_name, sender.addr_spec) == (
        "Latchford & Söhne, Lettings (Sneck)",
        "sneck@example.org",
    )
    (reader,) = mail["To"].addresses
    assert (reader.display_name, reader.addr_spec) == (message.to_name, message.to_email)
    assert mail["Reply-To"] == "agent@example.org"
    assert mail["Date"].datetime == at().at
    assert mail["Message-ID"] == message.message_id
    assert mail["Auto-Submitted"] == "auto-generated"


def test_text_and_html_stand_side_by_side_and_files_after_them():
    message = put(
        make_agency(),
        files=[
            File("visit.ics", "text/calendar; charset=utf-8; method=REQUEST", ENTRY),
            File("sheet.pdf", "application/pdf", b"%PDF-1.7\n\x00\xff"),
        ],
    )
    mail = read(wire(message))
    assert mail.get_content_type() == "multipart/mixed"
    assert mail.get_body(("plain",)).get_content().replace("\r\n", "\n") == message.text
    assert mail.get_body(("html",)).get_content().strip() == message.html
    entry, sheet = mail.iter_attachments()
    assert (entry.get_content_type(), entry["Content-Type"].params["method"]) == ("text/calendar", "REQUEST")
    assert Calendar.from_ical(entry.get_payload(decode=True))["METHOD"] == "REQUEST"
    assert (sheet.get_filename(), sheet.get_content()) == ("sheet.pdf", b"%PDF-1.7\n\x00\xff")


@pytest.mark.parametrize("html", ["", "<p>Hello</p>"])
def test_the_same_message_is_the_same_bytes_in_seven_bits(html):
    message = put(make_agency(), html=html, files=[File("a.pdf", "application/pdf", b"x")])
    assert wire(message) == wire(message)
    assert wire(message).isascii()


def test_a_name_cannot_begin_a_header_of_its_own():
    message = put(make_agency("Evil\r\nBcc: x@example.org"), to_name="A\nBcc: y@example.org")
    assert read(wire(message))["Bcc"] is None


def test_an_address_that_breaks_the_line_is_refused():
    message = put(make_agency(), to_email="a@example.org\nBcc: z@example.org")
    with pytest.raises(ValueError, match="newline"):
        wire(message)
