"""Signs of life: when the clock's task last ran, and how the mail server was last found."""

from datetime import datetime, timedelta

from notifications.models import LifeSign

BEAT, MAIL_TAKEN, MAIL_TROUBLE = "beat", "mail_taken", "mail_trouble"
SELDOM = timedelta(minutes=1)
_OTHER = {MAIL_TAKEN: MAIL_TROUBLE, MAIL_TROUBLE: MAIL_TAKEN}


def seen(part: str, says: str = "", *, at: datetime) -> None:
    """Keep that a part was seen now. The mail server's two signs at most once a minute each, unless they change over:
    the newer of the two tells how it is found.
    """
    if part in _OTHER:
        known = dict(LifeSign.objects.filter(part__in=_OTHER).values_list("part", "at"))
        last, other = known.get(part), known.get(_OTHER[part])
        if last is not None and at - last < SELDOM and (other is None or other < last):
            return
    LifeSign.objects.bulk_create(
        [LifeSign(part=part, at=at, says=says[:300])],
        update_conflicts=True,
        unique_fields=["part"],
        update_fields=["at", "says"],
    )
