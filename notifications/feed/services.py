"""The secret address of one person's calendar: made, ended, fetched from. One is live at a time."""

import hashlib
import secrets
from typing import Any

from django.db import transaction

from notifications.models import Feed
from portfolio.clock import Moment
from portfolio.models import User
from portfolio.services.events import Happening, Verb, record


@transaction.atomic
def feed_make(*, actor: Any, moment: Moment) -> str:
    """Make an address and end the one before it. Gives its secret, which is not kept."""
    _locked(actor)
    Feed.objects.filter(user=actor, ended_at=None).update(ended_at=moment.at)
    token = secrets.token_urlsafe(32)
    feed = Feed.objects.create(user=actor, token_sha256=digest_of(token), made_at=moment.at)
    _told(feed, Verb.FEED_MADE, "A secret address was made", actor, moment)
    return token


@transaction.atomic
def feed_end(*, actor: Any, moment: Moment) -> bool:
    """End the person's address; False when none was live."""
    _locked(actor)
    feed = Feed.objects.filter(user=actor, ended_at=None).first()
    if feed is None:
        return False
    feed.ended_at = moment.at
    feed.save(update_fields=["ended_at"])
    _told(feed, Verb.FEED_ENDED, "The secret address was ended", actor, moment)
    return True


def live_feed(token: str) -> Feed | None:
    """The feed of this secret, if it is not ended and its person may still log in."""
    feeds = Feed.objects.select_related("user__agency", "user__landlord")
    return feeds.filter(token_sha256=digest_of(token), ended_at=None, user__is_active=True).first()


def feed_fetched(feed: Feed, *, moment: Moment) -> None:
    """Note that it was fetched today; written once a day, however often that is."""
    if feed.used_on != moment.day:
        Feed.objects.filter(pk=feed.pk).update(used_on=moment.day)


def digest_of(token: str) -> str:
    return hashlib.sha256(token.encode()).hexdigest()


def _locked(actor: Any) -> None:
    """Two pages of one person wait for each other; lines of record that name the person do not (hence no key)."""
    User.objects.select_for_update(no_key=True).get(pk=actor.pk)


def _told(feed: Feed, verb: Verb, what: str, actor: Any, moment: Moment) -> None:
    says = f"{what} from which {actor} can have a calendar fetched."
    happening = Happening(verb, f"feed:{feed.pk}", says)
    record([happening], agency_id=actor.agency_id, actor=actor, moment=moment)
