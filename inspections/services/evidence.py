"""Evidence for a defect: brought by one of our people or by a contractor, kept for good, relied on until withdrawn."""

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any
from uuid import UUID, uuid5

from django.conf import settings
from django.core.exceptions import ValidationError
from django.db import transaction

from inspections import words as own
from inspections.models import Contractor, Defect, Evidence
from inspections.services.steps import NotAllowed, contractor_locked
from portfolio import access, words
from portfolio.clock import Moment
from portfolio.documents import Accepted, store
from portfolio.models import Document
from portfolio.services.events import Happening, Verb, record
from portfolio.services.write import locked_unit, save

OTHER_PEOPLES = {"agent", "inspector"}
"""Roles that may withdraw what somebody else brought."""


@dataclass(frozen=True, slots=True)
class Paper:
    """That a file is a paper: its kind (a code of `words.CERTIFICATE`), number and day."""

    kind: str
    number: str
    dated: date | None


@transaction.atomic
def evidence_add(
    defect_id: int,
    *,
    key: UUID,
    stage: str,
    accepted: Accepted | None,
    says: str = "",
    paper: str | None = None,
    number: str = "",
    dated: date | None = None,
    actor: Any,
    moment: Moment,
    contractor: Contractor | None = None,
) -> Evidence:
    """Keep a file, a statement, or a file with a caption. The same key again gives the piece already kept.

    Brought by `actor`, or by `contractor` when `actor` is None. Raises ValidationError, NotAllowed; nothing is
    stored then.
    """
    defect = _locked(defect_id)
    _may_bring(defect, actor, contractor)
    piece = Evidence(
        defect=defect, key=key, stage=stage, says=says.strip(), paper=paper or None, number=number.strip(),
        dated=dated, added_at=moment.at, added_by=actor, contractor=contractor,
    )  # fmt: skip
    kept = Evidence.objects.filter(key=key).select_related("document").first()
    if kept is not None:
        if _content(kept, kept.document) != _content(piece, accepted):
            raise ValidationError("This was sent before with other content. Load the page again to add more.")
        return kept
    _check(piece, accepted, moment)
    if accepted is not None:
        piece.document = store(accepted, agency=defect.unit.agency, actor=actor, moment=moment)
    save(piece, actor=actor, moment=moment)
    _tell(piece, Verb.EVIDENCE_ADDED, f"{_what(piece)} added by {_who(piece)}.", actor=actor, moment=moment)
    return piece


@transaction.atomic
def evidence_add_all(
    defect_id: int,
    *,
    key: UUID,
    stage: str,
    accepted: Sequence[Accepted],
    says: str = "",
    paper: Paper | None = None,
    actor: Any,
    moment: Moment,
    contractor: Contractor | None = None,
) -> list[Evidence]:
    """All that one page brought, or nothing of it: `key` is the page's own, so that sent twice is once.

    The words are the caption of a single file; with several files, or none, they stand by themselves.
    """
    if paper is not None and len(accepted) != 1:
        raise ValidationError("A paper is one file. Send it by itself, with its kind and day.")
    if not accepted and not says.strip():
        raise ValidationError("Choose a file, or write what was done or seen.")
    common: dict[str, Any] = {"stage": stage, "actor": actor, "moment": moment, "contractor": contractor}
    caption = says if len(accepted) == 1 else ""
    told: dict[str, Any] = {}
    if paper is not None:
        told = {"paper": paper.kind, "number": paper.number, "dated": paper.dated}
    keys = [uuid5(key, f"{stage}:{file.sha256}") for file in accepted]
    alone = uuid5(key, f"{stage}:says") if says.strip() and not caption else None
    _check_room(_locked(defect_id), {*keys, alone} if alone else {*keys})
    pieces = [
        evidence_add(defect_id, key=each, accepted=file, says=caption, **told, **common)
        for each, file in zip(keys, accepted, strict=True)
    ]
    if alone is not None:
        pieces.append(evidence_add(defect_id, key=alone, accepted=None, says=says, **common))
    return list({piece.pk: piece for piece in pieces}.values())


@transaction.atomic
def evidence_withdraw(
    evidence_id: int, *, why: str, actor: Any, moment: Moment, contractor: Contractor | None = None
) -> Evidence:
    """Rely on it no longer. It stays on record, with the reason. Raises ValidationError, NotAllowed."""
    defect = _locked(Evidence.objects.values_list("defect_id", flat=True).get(pk=evidence_id))
    _may_bring(defect, actor, contractor)
    piece = Evidence.objects.select_related("document", "added_by", "contractor").get(pk=evidence_id)
    theirs = piece.contractor_id == contractor.pk if contractor else piece.added_by_id == actor.pk
    if not theirs and (contractor or actor.role not in OTHER_PEOPLES):
        raise NotAllowed("Somebody else brought this. Ask your letting agent to withdraw it.")
    if piece.withdrawn_at is not None:
        return piece
    if defect.confirmed is not None:
        raise NotAllowed("The repair is confirmed, and what it was confirmed by stays.")
    if not why.strip():
        raise ValidationError({"why": "Say why it is withdrawn: the reason is kept."})
    piece.withdrawn_at, piece.withdrawn_why = moment.at, why.strip()
    save(piece, actor=actor, moment=moment)
    by = contractor or actor
    _tell(
        piece, Verb.EVIDENCE_WITHDRAWN, f"{_what(piece)} withdrawn by {by}: {why.strip()}", actor=actor,
        moment=moment, why=why.strip(),
    )  # fmt: skip
    return piece


def _locked(defect_id: int) -> Defect:
    """The defect, with its home locked first: the same order as every other writer."""
    locked_unit(Defect.objects.values_list("unit_id", flat=True).get(pk=defect_id))
    return Defect.objects.select_related("unit__agency").get(pk=defect_id)


def _may_bring(defect: Defect, actor: Any, contractor: Contractor | None) -> None:
    if (actor is None) == (contractor is None):
        raise ValidationError("Evidence comes from one of our people or from a contractor.")
    if contractor is not None:
        theirs = contractor.agency_id == defect.unit.agency_id
    else:
        theirs = (
            access.may(actor, "add_evidence")
            and Defect.objects.visible_to(actor).filter(pk=defect.pk).exists()
        )
    if not theirs:
        raise NotAllowed("This defect is not yours to bring evidence for.")
    if contractor is not None:
        contractor_locked(contractor)


def _check(piece: Evidence, accepted: Accepted | None, moment: Moment) -> None:
    """All that can be said against a new piece, before anything is stored."""
    if piece.stage not in own.STAGE:
        raise ValidationError({"stage": "Say whether it shows the state before or after the work."})
    if piece.stage == "after" and piece.defect.confirmed is not None:
        raise NotAllowed("The repair is confirmed already, so there is nothing more to prove.")
    if accepted is None and not piece.says:
        raise ValidationError("Choose a file, or write what was done or seen.")
    _check_paper(piece, accepted, moment)
    _check_room(piece.defect, {piece.key})


def _check_room(defect: Defect, keys: Collection[UUID]) -> None:
    """Asked before the first is stored, as a file outlives a transaction that is undone. Raises NotAllowed."""
    live = Evidence.objects.filter(defect=defect, withdrawn_at=None).count()
    new = len(keys) - Evidence.objects.filter(key__in=keys).count()
    ever = Evidence.objects.filter(defect=defect).count()
    if new and ever + new > settings.EVIDENCE_EVER:
        raise NotAllowed(
            f"This defect has had {ever} pieces of evidence, withdrawn ones included. It takes no more than "
            f"{settings.EVIDENCE_EVER} in all; tell the letting agent what is still to be shown."
        )
    if new and live >= settings.EVIDENCE_MOST:
        raise NotAllowed(
            f"This defect holds {live} pieces of evidence, which is the most it can. "
            "Withdraw what is not needed, or send fewer."
        )
    if live + new > settings.EVIDENCE_MOST:
        raise NotAllowed(
            f"A defect holds at most {settings.EVIDENCE_MOST} pieces of evidence, and this one has {live}. Send fewer."
        )


def _check_paper(piece: Evidence, accepted: Accepted | None, moment: Moment) -> None:
    if piece.paper is None:
        if piece.number or piece.dated:
            raise ValidationError("Choose which kind of paper it is, or leave number and day empty.")
        return
    if piece.paper not in words.CERTIFICATE:
        raise ValidationError("Choose which kind of paper it is.")
    if accepted is None:
        raise ValidationError("Choose the file of the paper.")
    if piece.dated is None:
        raise ValidationError("Give the day on the paper.")
    if piece.dated > moment.day:
        raise ValidationError("The day on the paper lies in the future.")


def _content(piece: Evidence, file: Document | Accepted | None) -> tuple[Any, ...]:
    return (
        piece.defect_id, piece.stage, None if file is None else file.sha256, piece.says, piece.paper, piece.number,
        piece.dated, piece.added_by_id, piece.contractor_id,
    )  # fmt: skip


def _what(piece: Evidence) -> str:
    shown = f"‘{piece.document}’" if piece.document else "Statement"
    if piece.paper:
        shown = f"{words.CERTIFICATE[piece.paper]}, {shown},"
    return f"{shown} ({own.STAGE[piece.stage].lower()}, {piece.defect.title or piece.defect.code})"


def _who(piece: Evidence) -> str:
    return str(piece.contractor or piece.added_by)


def _tell(piece: Evidence, verb: Verb, says: str, *, actor: Any, moment: Moment, **more: str) -> None:
    unit = piece.defect.unit
    data = {
        "defect": piece.defect_id, "stage": piece.stage, "sha256": piece.document and piece.document.sha256,
        "paper": piece.paper, "by": _who(piece), **more,
    }  # fmt: skip
    happening = Happening(verb, f"evidence:{piece.pk}", says, unit.pk, data)
    record([happening], agency_id=unit.agency_id, actor=actor, moment=moment)
