"""What only a competent person without a hand in the work may do: send proof back, confirm it, class otherwise."""

from typing import Any

from django.core.exceptions import ValidationError
from django.db import transaction

from inspections import paperwork
from inspections.models import Defect
from inspections.services import tell
from inspections.services.competence import competent_for, why_not_confirm
from inspections.services.job_items import end_item
from inspections.services.papers_back import keep_papers, may_leave_papers, papers_back
from inspections.services.steps import NotAllowed, clear_for, finish, named, opened, stored_clear
from inspections.words import TRADE_OF
from portfolio import access, words
from portfolio.clock import Moment
from portfolio.law import model as law
from portfolio.services.events import Verb
from portfolio.services.write import save

NOT_SAID = "Nobody has recorded yet that the work is done."


@transaction.atomic
def defect_send_back(defect_id: int, *, why: str, actor: Any, moment: Moment) -> Defect:
    """The proof does not show that it is put right: the work counts as not done. Raises ValidationError, NotAllowed."""
    defect = opened(defect_id)
    if defect.completed is None:
        raise NotAllowed(NOT_SAID)
    if refused := why_not_confirm(actor, defect, moment):
        raise NotAllowed(refused)
    if not why.strip():
        raise ValidationError({"why": "Say what is missing or wrong, for whoever has to put it right."})
    claimer, firm = defect.completed_by, defect.completed_for
    defect.completed = defect.completed_by = None
    defect.sent_back_why = why.strip()
    save(defect, actor=actor, moment=moment)
    says = f"Proof sent back: {named(defect)}. {why.strip()}"
    event = finish(defect, Verb.DEFECT_SENT_BACK, says, actor=actor, moment=moment)
    tell.sent_back(defect, claimer, firm, event, moment=moment)
    return defect


@transaction.atomic
def defect_confirm(
    defect_id: int, *, no_paper_why: str = "", work: str = "", actor: Any, moment: Moment
) -> Defect:
    """A second, competent person confirms the work today. Raises NotAllowed with the reason, ValidationError.

    `work`: its kind, where whoever said it was done did not say it. The papers that came as proof become papers of
    the home; without those that the work leaves, `no_paper_why` is asked for. Ends its place in a job.
    """
    defect = opened(defect_id)
    if not access.may(actor, "confirm"):
        raise NotAllowed("Only an inspector can confirm that a defect is put right.")
    if defect.completed is None:
        raise NotAllowed(NOT_SAID)
    if refused := why_not_confirm(actor, defect, moment):
        raise NotAllowed(refused)
    _say_work(defect, work)
    _ask_papers(defect, no_paper_why)
    was_clear = clear_for(defect.unit_id, moment)
    # A job is locked before any line of record is written, or two confirmations could wait for each other.
    end_item(defect, why="all of its work is confirmed or taken back", actor=actor, moment=moment)
    keep_papers(defect, actor=actor, moment=moment)
    defect.confirmed, defect.confirmed_by, defect.no_paper_why = moment.day, actor, no_paper_why.strip()
    save(defect, actor=actor, moment=moment)
    without = f" Without a paper: {no_paper_why.strip()}" if no_paper_why.strip() else ""
    says = f"Confirmed put right: {named(defect)}.{without}"
    event = finish(defect, Verb.DEFECT_CONFIRMED, says, actor=actor, moment=moment)
    tell.home_clear(defect.unit, stored_clear(defect.unit_id) - was_clear, event, moment=moment)
    return defect


def _say_work(defect: Defect, work: str) -> None:
    if not work or work == defect.work:
        return
    if defect.work:
        raise ValidationError(
            {"work": "Another kind of work was recorded. If that is wrong, send the proof back."}
        )
    known_work(work)
    defect.work = work


def known_work(work: str) -> None:
    """Raises ValidationError for a kind of work that there is not; an empty one is not recorded."""
    if work and work not in paperwork.WORKS:
        raise ValidationError({"work": "Choose the kind of work from the list."})


def _ask_papers(defect: Defect, no_paper_why: str) -> None:
    back = papers_back(defect)
    if back.work_unknown and may_leave_papers(defect):
        raise NotAllowed("Say what kind of work was done first: on it depends which paper has to come back.")
    if back.missing and not no_paper_why.strip():
        raise NotAllowed(
            f"A paper of the work has not come back: {back.says}. Add it to the proof, or say why there is none."
        )


@transaction.atomic
def defect_recode(defect_id: int, *, scheme: str, code: str, why: str, actor: Any, moment: Moment) -> Defect:
    """Class a defect otherwise, with a reason. Raises ValidationError, NotAllowed.

    Only an inspector competent for the scheme it has now and for the one it gets, who has no hand in its repair:
    a lower class can lift a bar as a confirmation does. Whoever usually mends the new scheme becomes its trade.
    """
    defect = opened(defect_id)
    _may_recode(defect, scheme, code, why, actor, moment)
    was, was_clear = words.CODE[defect.code], clear_for(defect.unit_id, moment)
    was_danger = tell.is_danger(defect)
    defect.scheme, defect.code, defect.suspected = scheme, code, False
    defect.trade = TRADE_OF.get(scheme, defect.trade)
    save(defect, actor=actor, moment=moment)
    says = f"Classed otherwise, {was} before and {words.CODE[code]} now: {named(defect)}. {why.strip()}"
    event = finish(defect, Verb.DEFECT_CHANGED, says, actor=actor, moment=moment)
    tell.home_clear(defect.unit, stored_clear(defect.unit_id) - was_clear, event, moment=moment)
    if not was_danger:
        tell.danger(defect, moment=moment)
    return defect


def _may_recode(defect: Defect, scheme: str, code: str, why: str, actor: Any, moment: Moment) -> None:
    if not access.may(actor, "recode"):
        raise NotAllowed("Only an inspector can class a defect otherwise.")
    if not why.strip():
        raise ValidationError({"why": "Say why it is classed otherwise: the reason is kept."})
    if code not in law.CODES.get(scheme, ()):
        raise ValidationError({"code": "This class does not belong to this scheme."})
    if (scheme, code) == (defect.scheme, defect.code):
        raise ValidationError({"code": "It has this class already."})
    if refused := why_not_confirm(actor, defect, moment):
        raise NotAllowed(refused)
    if scheme not in competent_for(actor, moment.day):
        raise NotAllowed(
            f"Your competence for {words.SCHEME[scheme]} is not on record, or has ended. "
            "A letting agent records it on the page People."
        )
