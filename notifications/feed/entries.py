"""What stands in a person's calendar: from 31 days back to two years ahead, by what is on record.

Nothing in it depends on the hour at which it is asked, so that a calendar in which nothing changed is the same to the
byte.
"""

from datetime import timedelta

from notifications.feed import dues, visits
from notifications.feed.shape import Asked, Entry
from notifications.models import Feed
from portfolio.clock import Moment
from portfolio.law.dates import add_months
from portfolio.models import Unit
from portfolio.selectors.reach import reach_now

BACK = timedelta(days=31)
AHEAD = 24
"""Months."""
MOST = 1_000
"""Entries; with more, those of a day and kind become one that says how many there are and where they are listed."""


def entries(feed: Feed, *, moment: Moment) -> list[Entry]:
    """The entries of this feed's person, papers and duties first, each kind by its day. Raises Behind."""
    asked = Asked(
        feed=feed,
        reached=reach_now(Unit.objects.visible_to(feed.user), moment.day),
        day=moment.day,
        first=moment.day - BACK,
        last=add_months(moment.day, AHEAD),
    )
    papers, jobs = dues.many(asked), visits.many(asked)
    # Hours are worth most in a calendar, so jobs are put together only where they alone would be too many.
    found = dues.by_day(asked) if papers + jobs > MOST else dues.each(asked)
    return found + (visits.by_day(asked) if jobs > MOST else visits.each(asked))
