"""What is recorded once the mail server has taken papers: that copies were given, which closes what they answer."""

from typing import Any

from django.db import transaction

from inspections.models import Defect
from notifications.models import Message
from notifications.papers.choice import is_withdrawn
from portfolio import clock, words
from portfolio.clock import LONDON, Moment
from portfolio.law import model as law
from portfolio.models import Certificate, Event, User
from portfolio.services.events import Happening, Verb, record
from portfolio.services.homes import acts_add
from portfolio.services.write import locked_units


@transaction.atomic
def copies_given(message: Message, at: Moment) -> None:
    """Record what the mail did, as done on the day on which the mail server took it; once, however often asked.

    A paper that was withdrawn meanwhile proves nothing: no act, and the record says why. This may run later than
    `at`, when a process died between; the home is asked anew for the day on which it runs.
    """
    told, unit_id = message.data, message.unit_id
    assert unit_id is not None, "papers are of a home"
    locked_units([unit_id])
    if _is_recorded(message):
        return
    moment = max(at, clock.moment(), key=lambda one: one.at)
    counted, refused = _sorted_out(message, at)
    actor = User.objects.get(pk=told["by"])
    taken = f"taken by the mail server on {at.at.astimezone(LONDON):%-d %B %Y at %H:%M}, message {message.pk}"
    party = told["party"] if told["party"] in words.PARTY else None
    if counted:
        acts = [law.Act(what, of, party, at.day) for what, of in counted]
        acts_add(unit_id, acts, how=f"by e-mail, {taken}", actor=actor, moment=moment)
    says = [f"Papers sent by e-mail: {taken}."]
    says += [f"Not counted as given: {why}" for why in refused]
    data = {"acts": counted, "refused": refused, "at": at.at.isoformat()}
    happening = Happening(Verb.PAPERS_TAKEN, f"message:{message.pk}", " ".join(says), unit_id, data)
    record([happening], agency_id=message.agency_id, actor=None, moment=moment)


def _is_recorded(message: Message) -> bool:
    mine = Event.objects.filter(unit=message.unit_id, subject=f"message:{message.pk}")
    return mine.filter(verb=Verb.PAPERS_TAKEN.value).exists()


def _sorted_out(message: Message, at: Moment) -> tuple[list[Any], list[str]]:
    """Acts that still stand, and why the others do not."""
    held = {row.ref: row for row in Certificate.objects.filter(unit=message.unit_id)}
    defects = {row.ref: row for row in Defect.objects.filter(unit=message.unit_id)}
    says = {paper["ref"]: paper["says"] for paper in message.data["papers"]}
    counted, refused = [], []
    for what, of in message.data["acts"]:
        paper, defect = held.get(of), defects.get(of)
        name = says.get(of, of)
        if paper is not None and is_withdrawn(paper, at.day):
            refused.append(f"{name}, because it was withdrawn on {paper.withdrawn:%-d %B %Y}.")
        elif paper is None and defect is None:
            refused.append(f"{name}, because it is no longer on record under ‘{of}’.")
        else:
            counted.append([what, of])
    return counted, refused
