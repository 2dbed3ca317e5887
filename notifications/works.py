"""How the works of telling are: each part in a sentence, with what to do where something is wrong.

What is waiting is counted for one agency; the clock, the queue and the mail server serve all of them.
"""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime, timedelta

from django.db.models import Count, Q
from django.urls import reverse
from django.utils.timesince import timesince

from notifications import asking, sending
from notifications.models import LifeSign, Message
from notifications.words import FAILED, HELD, SENDING, STATE, UNCLEAR, WAITING
from portfolio.clock import LONDON, Moment

BEAT_LATE = timedelta(minutes=3)
"""It is seen each minute; a long batch of messages may hold one sign back."""
BEAT_GONE = timedelta(minutes=15)
DUE_LATE = timedelta(minutes=10)
LOOK_BACK = timedelta(days=30)
START = "Start one celery beat and at least one celery worker; README, “Running it for real”, has the lines."


@dataclass(frozen=True)
class Part:
    """One part of the works: a word for how it is, what was seen, and the cure."""

    name: str
    word: str
    shape: str
    says: str
    cure: str = ""
    url: str = ""


def parts(agency_id: int, moment: Moment, ask: Callable[[], asking.Answered] = asking.broker) -> list[Part]:
    """Every part, and what waits for them. Three queries, and one question to the broker."""
    signs = {sign.part: sign for sign in LifeSign.objects.all()}
    return [
        _clock(signs.get("beat"), moment),
        _queue(ask()),
        _mail(signs.get("mail_taken"), signs.get("mail_trouble"), moment),
        _oldest(agency_id, moment),
        *_counted(agency_id, moment),
    ]


def _clock(beat: LifeSign | None, moment: Moment) -> Part:
    name = "The clock and a worker"
    if beat is None:
        return Part(name, "Never seen", "not_met", "No sign was seen since this was set up.", START)
    says = f"Last sign {_ago(beat.at, moment)}; there is one each minute."
    silent = moment.at - beat.at
    if silent <= BEAT_LATE:
        return Part(name, "Running", "met", says)
    if silent <= BEAT_GONE:
        return Part(name, "Late", "warn", says, "Look again in a few minutes: a long batch may hold it up.")
    return Part(name, "Stopped", "not_met", f"{says} Nobody is reminded while it stands.", START)


def _queue(answered: asking.Answered) -> Part:
    if answered.well:
        return Part("The queue", "Answers", "met", answered.said)
    cure = "Start Redis, or put REDIS_URL right. Nothing is lost: once it is back, what is due is sent."
    return Part("The queue", "Does not answer", "not_met", answered.said, cure)


def _oldest(agency_id: int, moment: Moment) -> Part:
    name = "The oldest message due"
    found = sending.due(moment.at).filter(agency=agency_id).order_by("next_try_at", "pk").first()
    if found is None:
        return Part(name, "None", "met", "Nothing that is due is unsent.")
    waits = moment.at - found.next_try_at
    says, url = f"Due {_ago(found.next_try_at, moment)} and not sent.", reverse("message", args=[found.pk])
    if waits <= DUE_LATE:
        return Part(name, "Soon", "met", says, url=url)
    cure = "See above: the clock, the queue or the mail server holds it up."
    return Part(name, "Stuck", "not_met", says, cure, url)


def _counted(agency_id: int, moment: Moment) -> list[Part]:
    live = Q(state__in=[WAITING, SENDING, UNCLEAR, HELD])
    lately = Q(state=FAILED, made_at__gte=moment.at - LOOK_BACK)
    found = Message.objects.filter(live | lately, agency=agency_id).order_by()
    counts: dict[str, int] = dict(found.values_list("state").annotate(number=Count("pk")))
    decide = "Open each: send it again, or reach the person in another way."

    def part(name: str, state: str, worst: str, cure: str, since: str = "") -> Part:
        number = counts.get(state, 0)
        word, shape = ("None", "met") if not number else (str(number), worst)
        says = f"{number} message{'' if number == 1 else 's'}{since}."
        return Part(name, word, shape, says, cure if number else "", _list(state) if number else "")

    return [
        part(STATE[WAITING], WAITING, "met", ""),
        part(STATE[FAILED], FAILED, "not_met", decide, " in the last 30 days"),
        part(STATE[UNCLEAR], UNCLEAR, "warn", decide),
        part(STATE[HELD], HELD, "warn", "Release what should go; what is held tells nobody."),
    ]


def _mail(taken: LifeSign | None, trouble: LifeSign | None, moment: Moment) -> Part:
    name = "The mail server"
    good = f"It last took a message {_ago(taken.at, moment)}." if taken else "It has taken no message yet."
    if trouble is not None and (taken is None or trouble.at > taken.at):
        says = f"{good} Trouble {_ago(trouble.at, moment)}: {trouble.says}"
        cure = "Ask it now. If it does not answer, put SNECK_SMTP_HOST, _PORT, _USER, _PASSWORD or _SECURITY right."
        return Part(name, "Trouble", "not_met", says, cure)
    if taken is None:
        return Part(name, "Not known", "unknown", good, "Ask it now.")
    return Part(name, "Takes mail", "met", good)


def _ago(at: datetime, moment: Moment) -> str:
    there = at.astimezone(LONDON)
    if moment.at - at < timedelta(minutes=1):
        return f"less than a minute ago ({there:%H:%M})"
    day = "" if there.date() == moment.day else f"{there.day} {there:%b %Y}, "
    return f"{timesince(at, moment.at, depth=1)} ago ({day}{there:%H:%M})"


def _list(state: str) -> str:
    return f"{reverse('messages')}?state={state}"
