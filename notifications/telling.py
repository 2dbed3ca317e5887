"""How a person asks to be told, and how that ends from a digest. A person sets only their own.

Locks go Telling, then the agency's chain of events.
"""

from collections.abc import Collection
from typing import Any

from django.core.exceptions import ValidationError
from django.db import transaction

from notifications.models import Telling
from notifications.words import MAY_BE_OFF, REACHES
from portfolio.clock import Moment
from portfolio.models import User
from portfolio.services.events import Happening, Verb, record

WEEK = ("Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday")


def of(user: User) -> Telling:
    """How the person asks to be told; as a row that is not stored where nothing was said yet."""
    return Telling.objects.filter(user=user).first() or Telling(user=user)


def locked(user_id: int) -> Telling:
    """The person's row under its lock, made when there is none."""
    Telling.objects.get_or_create(user_id=user_id)
    return Telling.objects.select_for_update().get(user_id=user_id)


@transaction.atomic
def telling_set(
    *,
    hour: int,
    quiet_days: Collection[int],
    off: Collection[str],
    digest: bool,
    actor: Any,
    moment: Moment,
) -> Telling:
    """Keep how the actor asks to be told. Raises ValidationError, by field, for what cannot be."""
    _check(hour, quiet_days, off, actor.role)
    telling = locked(actor.pk)
    wanted = {
        "hour": hour,
        "quiet_days": sorted(quiet_days),
        "off": [kind for kind in MAY_BE_OFF if kind in off],
        "digest": digest,
    }
    if {name: getattr(telling, name) for name in wanted} != wanted:
        _change(telling, wanted)
        says = f"{actor} chose how to be told: {in_words(telling)}."
        _tell(telling, says, wanted, actor=actor, moment=moment)
    return telling


@transaction.atomic
def digest_end(user_id: int, *, moment: Moment) -> bool:
    """Switch one person's digest off by the address in it; False when it is off already.

    Nobody is known to have done it but whoever has a digest of theirs. Raises User.DoesNotExist.
    """
    User.objects.get(pk=user_id)
    telling = locked(user_id)
    if not telling.digest:
        return False
    _change(telling, {"digest": False})
    says = f"The digest of {telling.user} was switched off by the address that is in each of them."
    _tell(telling, says, {"digest": False, "by": "the address in a digest"}, actor=None, moment=moment)
    return True


def in_words(telling: Telling) -> str:
    """What is asked for, as part of a sentence."""
    if telling.digest:
        days = in_a_row([WEEK[day] for day in telling.quiet_days])
        said = f"a digest from {telling.hour:02}:00{f', but not on {days}' if days else ''}"
    else:
        said = "no digest"
    return f"{said}; nothing of {kinds_in_words(telling.off, last='or')}" if telling.off else said


def kinds_in_words(kinds: Collection[str], last: str = "and") -> str:
    return in_a_row([MAY_BE_OFF[kind].lower() for kind in MAY_BE_OFF if kind in kinds], last)


def in_a_row(names: Collection[str], last: str = "and") -> str:
    """One, two and three."""
    *first, end = names or [""]
    return f"{', '.join(first)} {last} {end}" if first else end


def not_wanted(telling: Telling | None, kind: str) -> str:
    """Why a message of this kind is not wanted, as a clause about the reader; "" when it is. Dangers always are."""
    if telling is None:
        return ""
    if kind == "digest" and not telling.digest:
        return "switched the digest off"
    if kind in MAY_BE_OFF and kind in telling.off:
        return f"chose not to be told of {MAY_BE_OFF[kind].lower()}"
    return ""


def _check(hour: int, quiet_days: Collection[int], off: Collection[str], role: str) -> None:
    if hour not in range(24):
        raise ValidationError({"hour": "Choose an hour from 00:00 to 23:00."})
    if not set(quiet_days) <= set(range(len(WEEK))):
        raise ValidationError({"quiet_days": "Choose days of the week."})
    if len(set(quiet_days)) == len(WEEK):
        raise ValidationError(
            {"quiet_days": "Leave at least one day, or switch the digest off: on quiet days none is written."}
        )
    if not set(off) <= set(REACHES[role]):
        raise ValidationError({"wanted": "Choose from what you are told of."})


def _change(telling: Telling, wanted: dict[str, Any]) -> None:
    for name, value in wanted.items():
        setattr(telling, name, value)
    telling.save(update_fields=list(wanted))


def _tell(telling: Telling, says: str, data: dict[str, Any], *, actor: Any, moment: Moment) -> None:
    happening = Happening(Verb.TELLING_CHANGED, f"user:{telling.user_id}", says, data=data)
    record([happening], agency_id=telling.user.agency_id, actor=actor, moment=moment)
