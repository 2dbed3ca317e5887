"""The shape of an entry, whatever it is about, and what all sources of entries are given."""

from collections.abc import Collection
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import NamedTuple
from uuid import NAMESPACE_URL, uuid5

from django.conf import settings
from django.db.models import Max

from notifications.models import Feed
from notifications.words import ABOUT
from portfolio import ical
from portfolio.models import Event
from portfolio.selectors.reach import Reach

RENEWAL, DUTY, JOB = "renewal", "duty", "job"


@dataclass(frozen=True, slots=True)
class Kind:
    """What a calendar program is told of all entries of a kind: its category, and how long before it reminds."""

    category: str
    alarms: tuple[timedelta, ...]


KINDS = {
    RENEWAL: Kind(ABOUT["renewal"], (timedelta(days=14), timedelta(days=1))),
    DUTY: Kind(ABOUT["duty"], (timedelta(days=3),)),
    JOB: Kind("Days of jobs", (timedelta(hours=2),)),
}


class Change(NamedTuple):
    """The last line of record about something: when it was written, and its number in the agency's chain."""

    at: datetime
    seq: int


@dataclass(frozen=True, slots=True)
class Entry:
    """One entry. `hours` are aware instants; without them it is all of the day."""

    kind: str
    uid: str
    day: date
    summary: str
    says: str
    """More about it, line by line."""
    url: str
    changed: datetime
    sequence: int = 0
    place: str = ""
    hours: tuple[datetime, datetime] | None = None


@dataclass(frozen=True, slots=True)
class Asked:
    """Whose calendar, from which day to which, and the answers about the homes that person may see."""

    feed: Feed
    reached: Reach
    day: date
    first: date
    last: date

    def changes(self, unit_ids: Collection[int]) -> dict[int, Change]:
        """The last line of record about each of these homes."""
        found = dict.fromkeys(unit_ids, Change(self.feed.made_at, 0))
        rows = Event.objects.filter(unit__in=unit_ids).order_by().values_list("unit")
        found |= {unit: Change(at, seq) for unit, at, seq in rows.annotate(at=Max("at"), n=Max("seq"))}
        return found

    def last_change(self) -> Change:
        """The last line of record about any home that this person may see."""
        about = Event.objects.visible_to(self.feed.user).filter(unit__isnull=False)
        row = about.order_by("-seq").values_list("at", "seq").first()
        return Change(*row) if row else Change(self.feed.made_at, 0)


def uid_of(*parts: object) -> str:
    """The same for the same parts, in every calendar it stands in."""
    return ical.uid(str(uuid5(NAMESPACE_URL, "/".join((settings.SNECK_SITE, *map(str, parts))))))


def page(address: str) -> str:
    """The address of a page of this site, as other programs need it."""
    return f"{settings.SNECK_SITE}{address}"
