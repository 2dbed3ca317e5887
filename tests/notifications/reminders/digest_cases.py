"""An agency whose homes owe what a test says, and the rows that name it."""

from datetime import date, timedelta

from notifications.models import Message, Said
from notifications.reminders import digest
from portfolio.models import Agency, Due, Unit, User
from tests.factories import DAY, at, make_agency, make_homes, make_landlord, make_user

MORNING = 7
"""In London, where it is the same hour as in UTC on the days of these tests."""


def a_town() -> tuple[Agency, list[Unit], dict[str, User]]:
    """An agency with an agent, an inspector and a landlord of the first of two homes."""
    agency = make_agency("Latchford Lettings")
    homes = make_homes(agency, {"label": "Flat 1"}, {"label": "Flat 2"})
    landlord = make_landlord(agency, "L-ONE")
    homes[0].landlord = landlord
    homes[0].save()
    people = {
        "agent": make_user(agency, name="Ann Agent"),
        "inspector": make_user(agency, "inspector"),
        "landlord": make_user(agency, "landlord", landlord=landlord, name="Lou Landlord"),
    }
    return agency, homes, people


def owe(
    home: Unit, left: int | None, *, code: str = "", duty: bool = False, of: str = "", day: date = DAY
) -> Due:
    """A last good day so many days after `day`; None: a duty of no day."""
    return Due.objects.create(
        unit=home,
        is_duty=duty,
        code=code or ("gb_gas_check.copy_to_tenant" if duty else "eng_eicr"),
        due=None if left is None else day + timedelta(days=left),
        party="tenant" if duty else "",
        of=of or ("g1" if duty else "e1"),
    )


def run(agency: Agency, day: date = DAY, hour: int = MORNING) -> int:
    return digest.say(agency.pk, at(day, hour))


def digests(**which: object) -> list[Message]:
    return list(Message.objects.filter(kind="digest", **which).order_by("pk"))


def sent(*messages: Message) -> None:
    """The mail server took them."""
    pks = [one.pk for one in messages]
    Message.objects.filter(pk__in=pks).update(state="sent", sent_at=at().at, next_try_at=None, secrets="")


def send_all() -> None:
    sent(*Message.objects.filter(state="waiting"))


def told(user: User) -> set[tuple[str, str]]:
    """What was said to a person so far, by cause and milestone."""
    return set(Said.objects.filter(reader=str(user.pk)).values_list("cause", "milestone"))
