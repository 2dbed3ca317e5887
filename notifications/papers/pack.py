"""The cover of what is sent to a council: which papers and proof go with it, and what is still owed. A PDF."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from django.template.loader import render_to_string

from inspections.models import Defect
from inspections.selectors.job_parts import address_of
from inspections.services.job_sheet import printed
from notifications.papers.choice import Answer, Paper, Proof
from portfolio.clock import Moment
from portfolio.facts import facts_of
from portfolio.law import model as law
from portfolio.models import Document, Unit
from portfolio.selectors.naming import names_of


@dataclass(frozen=True, slots=True)
class Sent:
    """A file that goes with it, under the name it has there."""

    name: str
    document: Document


@dataclass(frozen=True, slots=True)
class Owed:
    duty: law.Duty
    about: str


def cover(
    unit: Unit,
    papers: Sequence[Paper],
    proofs: Sequence[Proof],
    answers: Sequence[Answer],
    standing: law.Standing,
    *,
    files: Mapping[int, str],
    actor: Any,
    moment: Moment,
) -> bytes:
    """The cover as PDF/UA-1 bytes. `files`: the names under which documents go, by their ids."""
    names = names_of(facts_of([unit.pk])[unit.pk][1])
    proven = {proof.pk: proof for proof in proofs}
    found = _found_by(unit, papers, proven)
    refs = {paper.ref for paper in papers} | {one.ref for one in found}
    answered = {duty for answer in answers for duty in answer.duties}
    page = {
        "unit": unit,
        "address": address_of(unit),
        "agency": unit.agency,
        "actor": actor,
        "moment": moment,
        "papers": [(paper, _sent(paper.files, files)) for paper in papers],
        "defects": [(one, _sent(proven[one.pk].files, files) if one.pk in proven else []) for one in found],
        "answers": [Owed(duty, names.get(duty.of or "", "")) for one in answers for duty in one.duties],
        "owed": [
            Owed(duty, names.get(duty.of or "", ""))
            for duty in standing.duties
            if duty.state is not law.DutyState.DONE
            and duty not in answered
            and (duty.of in refs or duty.party == "council")
        ],
    }
    return printed(render_to_string("pdf/council.html", page))


def _found_by(unit: Unit, papers: Sequence[Paper], proven: Mapping[int, Proof]) -> list[Defect]:
    """Defects that the papers found, open ones too, and others whose proof goes with it."""
    rows = Defect.objects.filter(unit=unit).select_related(
        "room", "certificate", "confirmed_by", "completed_by", "completed_for"
    )
    mine = {paper.pk for paper in papers}
    kept = [one for one in rows.order_by("found", "pk") if one.certificate_id in mine or one.pk in proven]
    return sorted(kept, key=lambda one: one.confirmed is not None)


def _sent(documents: Iterable[Document], files: Mapping[int, str]) -> list[Sent]:
    return [Sent(files[one.pk], one) for one in documents if one.pk in files]
