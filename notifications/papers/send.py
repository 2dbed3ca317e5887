"""Papers of a home, sent by e-mail. That a copy was given is recorded once the mail server took it: see `after`."""

from typing import Any

from django.core.exceptions import ValidationError
from django.db import transaction

from notifications import outbox
from notifications.models import Message
from notifications.papers.choice import PARTY
from notifications.papers.letter import BECAUSE, Ask, Letter, Offer, letter
from portfolio import access
from portfolio.clock import Moment
from portfolio.models import Unit
from portfolio.services.events import Happening, Verb, record
from portfolio.services.write import locked_units

KIND = "papers"


@transaction.atomic
def papers_send(unit_id: int, ask: Ask, *, key: str, actor: Any, moment: Moment) -> Message:
    """Leave the mail with the outbox; the same `key` again is the same mail. Raises ValidationError, NotAllowed.

    All or nothing: a paper that counts no longer, a lost file or too large a mail stores nothing.
    """
    unit = _locked(unit_id, actor)
    whole = f"{KIND}:{unit.pk}:{key}"
    before = Message.objects.filter(key=whole).first()
    if before is not None:
        return _the_same(before, ask)
    made = letter(Offer(unit, ask.party, moment), ask, actor=actor, moment=moment)
    message = outbox.put(_draft(unit, ask, made, whole, actor), at=moment.at)
    if message is None:  # the same form from a second window, committed meanwhile
        return _the_same(Message.objects.get(key=whole), ask)
    said = ", ".join(
        [*(paper.says for paper in made.papers), *(f"proof of {one.says}" for one in made.proofs)]
    )
    ends = " What it answers counts as done once the mail server has taken it." if made.acts else ""
    says = f"Papers sent by e-mail to {_whom(ask.party)}: {said} (message {message.pk}).{ends}"
    happening = Happening(Verb.PAPERS_SENT, f"message:{message.pk}", says, unit.pk, {"party": ask.party})
    record([happening], agency_id=unit.agency_id, actor=actor, moment=moment)
    return message


def _locked(unit_id: int, actor: Any) -> Unit:
    """The home under its lock. Raises Unit.DoesNotExist for whoever may not send its papers."""
    mine = Unit.objects.visible_to(actor) if access.may(actor, "send_papers") else Unit.objects.none()
    locked_units(mine.filter(pk=unit_id).values_list("pk", flat=True))
    return mine.select_related("agency", "building", "landlord").get(pk=unit_id)


def _the_same(message: Message, ask: Ask) -> Message:
    """What was sent by this form already. Raises ValidationError when it said something else."""
    told = message.data
    papers = frozenset(paper["pk"] for paper in told["papers"])
    if (message.to_email, told["party"], papers) != (ask.email, ask.party, ask.papers):
        raise ValidationError(
            f"This form was sent already, to {message.to_email}. Open it anew to send something else."
        )
    return message


def _draft(unit: Unit, ask: Ask, made: Letter, key: str, actor: Any) -> outbox.Draft:
    return outbox.Draft(
        key=key,
        kind=KIND,
        because=BECAUSE[ask.party],
        agency_id=unit.agency_id,
        unit_id=unit.pk,
        to_name=ask.name,
        to_email=ask.email,
        reply_to=actor.email,
        subject=made.subject,
        text=made.text,
        html=made.html,
        files=made.files,
        follows=True,
        data={
            "party": ask.party,
            "unit": unit.pk,
            "by": actor.pk,
            "agreed": ask.agreed,
            "papers": [
                {
                    "pk": one.pk,
                    "ref": one.ref,
                    "says": one.says,
                    "newest": one.newest,
                    "sha256": [file.sha256 for file in one.files],
                }
                for one in made.papers
            ],
            "proofs": [one.pk for one in made.proofs],
            "acts": made.acts,
        },
    )


def _whom(party: str) -> str:
    return "somebody else" if party not in PARTY or party == "other" else f"the {PARTY[party].lower()}"
