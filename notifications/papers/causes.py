"""Whether mails of this package still have a cause when their turn comes. Named in settings.NOTIFICATION_CAUSES."""

from datetime import date

from inspections.models import Contractor
from notifications.models import Message
from notifications.papers.choice import is_newest, is_withdrawn
from portfolio import clock
from portfolio.models import Certificate, StoredStanding


def papers_gone(message: Message) -> str:
    """A paper that was withdrawn, or that a later one took the place of after the mail was written, is not sent."""
    today = clock.today()
    rows = Certificate.objects.filter(unit=message.unit_id)
    held = {row.pk: row for row in rows}
    standing = [row for row in rows if not is_withdrawn(row, today)]
    for told in message.data["papers"]:
        paper = held.get(told["pk"])
        if paper is None or is_withdrawn(paper, today):
            return (
                f"{told['says']}: it was withdrawn before this could be sent. Nothing of this mail went out."
            )
        if told["newest"] and not is_newest(paper, standing):
            return f"{told['says']}: a later one was recorded before this could be sent. Send that one."
    return ""


def renewal_gone(message: Message) -> str:
    """Renewed meanwhile, asked no longer, or the contractor is used no longer."""
    code, due = message.data["code"], date.fromisoformat(message.data["due"])
    if Contractor.objects.filter(pk=message.data["contractor"], ended__lte=clock.today()).exists():
        return f"{message.to_name} is no longer used."
    stored = StoredStanding.objects.filter(unit=message.unit_id).values_list("answer", flat=True).first()
    if stored is None:
        return ""
    now = next((one for one in stored["requirements"] if one["id"] == code), None)
    if now is None:
        return "It is no longer asked of this home."
    if now["due"] and date.fromisoformat(now["due"]) > due:
        return (
            f"It was renewed meanwhile: its last good day is now {date.fromisoformat(now['due']):%-d %B %Y}."
        )
    return ""
