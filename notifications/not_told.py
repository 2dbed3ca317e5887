"""What keeps each person, landlord and address from being told, in plain words; and what they are told of."""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any
from urllib.parse import urlencode

from django.db.models import Count
from django.urls import reverse

from notifications.models import RefusedAddress, Telling
from notifications.not_told_lists import not_sent
from notifications.telling import WEEK, in_a_row, kinds_in_words
from notifications.words import ABOUT, FAILED, HELD, REACHES, WITHDRAWN
from portfolio import words
from portfolio.clock import LONDON, Moment
from portfolio.models import Landlord, User

TOLD_OF_DANGER = ("agent", "landlord")
NOT_SENT_WORDS = {HELD: "held back", FAILED: "refused", WITHDRAWN: "withdrawn"}
DANGERS = "dangers (then daily until made safe)"


@dataclass(frozen=True)
class Kept:
    """One thing that keeps somebody from being told. `shape` as of other states on pages."""

    says: str
    shape: str = "warn"
    link: str = ""
    url: str = ""


@dataclass
class Row:
    """Somebody who could be told."""

    name: str
    what: str
    email: str
    told: str
    kept: list[Kept] = field(default_factory=list)
    refused: RefusedAddress | None = None
    change_url: str = ""
    """Where the address is corrected; people with a log-in are changed by whoever makes log-ins."""


@dataclass(frozen=True)
class Beside:
    """What the rows of a page need to know beside themselves."""

    moment: Moment
    refused: Mapping[str, RefusedAddress]
    log_ins: Mapping[int | None, Sequence[User]]
    """The log-ins that have not ended, by landlord."""
    not_sent: Mapping[int | str, Mapping[str, int]]
    """How many messages in each state, by a person's id or the address of somebody without log-in."""


def rows(found: Iterable[User | Landlord | RefusedAddress], agency_id: int, moment: Moment) -> list[Row]:
    """Each of them as a row. Four queries, however many."""
    found = list(found)
    landlords = [one for one in found if isinstance(one, Landlord)]
    people = [one for one in found if isinstance(one, User)]
    log_ins: dict[int | None, list[User]] = defaultdict(list)
    for user in User.objects.filter(landlord__in=landlords, is_active=True).order_by("name", "pk"):
        log_ins[user.landlord_id].append(user)
    beside = Beside(
        moment,
        refused_among(agency_id, [one.email for one in found]),
        log_ins,
        _not_sent(agency_id, people, landlords, moment),
    )
    return [_row(one, beside) for one in found]


def refused_among(agency_id: int, emails: Iterable[str]) -> dict[str, RefusedAddress]:
    """Which of these addresses a mail server refuses, in lower case."""
    asked = {email.lower() for email in emails if email}
    held = RefusedAddress.objects.filter(agency=agency_id, ended_at=None, email__in=asked)
    return {one.email: one for one in held}


def refused_words(refused: RefusedAddress) -> str:
    day = refused.since.astimezone(LONDON)
    return (
        f"The mail server has refused {refused.email} since {day.day} {day:%b %Y} ({refused.said}): nothing but "
        "dangers is written to it."
    )


def _row(one: Any, beside: Beside) -> Row:
    if isinstance(one, User):
        row = _person(one, beside)
    elif isinstance(one, Landlord):
        row = _landlord(one, beside)
    else:
        row = Row(one.message.to_name, "Somebody without log-in", one.email, "")
    row.refused = beside.refused.get(row.email.lower())
    if row.refused:
        row.kept.append(Kept(refused_words(row.refused), "not_met"))
    key = one.pk if isinstance(one, User) else row.email
    for state, number in beside.not_sent.get(key, {}).items():
        url = f"{reverse('messages')}?{urlencode({'q': row.email, 'state': state})}"
        says = f"{number} message{'' if number == 1 else 's'} {NOT_SENT_WORDS[state]} in the last 30 days."
        row.kept.append(Kept(says, "not_met" if state == FAILED else "warn", "See them", url))
    return row


def _person(user: User, beside: Beside) -> Row:
    what = f"{words.ROLE[user.role]} with a log-in{f', {user.landlord}' if user.landlord else ''}"
    if not user.is_active:
        ended = Kept("The log-in has ended, so nothing is written to it.", "not_met")
        return Row(str(user), what, user.email, "Nothing.", [ended])
    telling: Telling = getattr(user, "telling", None) or Telling()
    wanted = [kind for kind in REACHES[user.role] if kind not in telling.off]
    at_once = [DANGERS] if user.role in TOLD_OF_DANGER else []
    at_once += [kinds_in_words([kind]) for kind in wanted if kind not in ABOUT]
    told = [f"At once: {in_a_row(at_once)}."] if at_once else []
    daily = kinds_in_words([kind for kind in wanted if kind in ABOUT])
    if telling.digest and daily:
        told.append(f"In the digest: {daily}.")
    kept = _chosen(user, telling) + (_today(telling, beside.moment) if telling.digest and daily else [])
    return Row(str(user), what, user.email, " ".join(told) or "Nothing.", kept)


def _chosen(user: User, telling: Telling) -> list[Kept]:
    kept = []
    if not telling.digest:
        lost = kinds_in_words([kind for kind in REACHES[user.role] if kind in ABOUT])
        kept.append(Kept(f"Switched the digest off, so is not reminded of {lost}."))
    off = [kind for kind in REACHES[user.role] if kind in telling.off]
    if off:
        kept.append(Kept(f"Chose not to be told of {kinds_in_words(off, last='or')}."))
    return kept


def _today(telling: Telling, moment: Moment) -> list[Kept]:
    """What keeps today's digest back: a quiet day, an hour that has not come, or nothing that should."""
    if moment.day.weekday() in telling.quiet_days:
        coming = [(moment.day.weekday() + ahead) % len(WEEK) for ahead in range(1, len(WEEK))]
        next_day = next((WEEK[day] for day in coming if day not in telling.quiet_days), "no day")
        return [Kept(f"Today is a quiet day. The next digest comes on {next_day}.", "not_applicable")]
    if moment.at.astimezone(LONDON).hour < telling.hour:
        return [Kept(f"Today's digest is written from {telling.hour:02}:00 on.", "not_applicable")]
    if telling.worked_out_on is None or telling.worked_out_on < moment.day:
        where = reverse("works")
        return [Kept("Today's digest is not worked out yet.", "unknown", "Does the clock run?", where)]
    return []


def _landlord(landlord: Landlord, beside: Beside) -> Row:
    log_ins = beside.log_ins.get(landlord.pk, ())
    row = Row(landlord.name, "Landlord", landlord.email, "")
    row.change_url = reverse("landlord_change", args=[landlord.pk])
    own = bool(landlord.email) and landlord.email.casefold() not in {one.email.casefold() for one in log_ins}
    if log_ins:
        row.told = f"What the log-in of {in_a_row([str(one) for one in log_ins])} is told."
        if own:
            row.told += f" At once, to this address as well: {DANGERS}."
    elif own:
        row.told = f"At once: {DANGERS}."
        row.kept.append(Kept("Has no log-in: of papers and duties nobody is told at this address."))
    else:
        row.told = "Nothing."
        row.kept.append(Kept("Has no log-in and no address, so nothing can be said.", "not_met"))
    return row


def _not_sent(
    agency_id: int, people: Iterable[User], landlords: Iterable[Landlord], moment: Moment
) -> dict[int | str, dict[str, int]]:
    of_people = not_sent(agency_id, moment.at).filter(to_user__in=[one.pk for one in people])
    emails = {one.email for one in landlords if one.email}
    of_others = not_sent(agency_id, moment.at).filter(to_user=None, to_email__in=emails)
    found: dict[int | str, dict[str, int]] = defaultdict(dict)
    for name, messages in (("to_user", of_people), ("to_email", of_others)):
        counted = messages.order_by().values_list(name, "state").annotate(number=Count("pk"))
        for key, state, number in counted.order_by(name, "state"):
            found[key][state] = number
    return found
