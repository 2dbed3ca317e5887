"""Adding a certificate: what it would change is shown first; saving stores it, its file, and the new standing."""

from collections.abc import Collection, Sequence
from dataclasses import dataclass, replace
from datetime import date
from typing import Any

from django.core.exceptions import ValidationError
from django.db import transaction

from portfolio import words
from portfolio.clock import Moment
from portfolio.facts import facts_of
from portfolio.house_policy import books_of
from portfolio.law import model as law
from portfolio.models import Appliance, ApplianceCheck, Certificate, Document, Unit
from portfolio.services.events import Happening, Verb, record
from portfolio.services.homes import free_ref, next_ref
from portfolio.services.take_in_rows import CERTIFICATE_FIELDS
from portfolio.services.write import create_all, locked_unit, locked_units, save
from portfolio.standing import ask, refresh


@dataclass(frozen=True, slots=True)
class Change:
    """One requirement before and after. `after.due` is the next last good day."""

    before: law.Requirement
    after: law.Requirement


@dataclass(frozen=True, slots=True)
class Preview:
    """What a certificate would do, asked of the law for a day; nothing is stored."""

    changes: tuple[Change, ...]
    """Requirements that this certificate answers or changes."""
    let: law.Answer
    sale: law.Answer
    lifted: tuple[law.Reason, ...]
    """Bars that would go."""
    raised: tuple[law.Reason, ...]
    """Bars that would come."""
    same_day: tuple[law.Certificate, ...]
    """Papers of this kind already held with the same day: perhaps this one is held already."""


def certificate_preview(unit_id: int, certificate: law.Certificate, *, day: date) -> Preview:
    """What adding this certificate would change in the answer for `day`."""
    building, unit = facts_of([unit_id])[unit_id]
    held = unit.certificates or ()
    ref = certificate.ref or f"{certificate.kind}-new"
    while any(paper.ref == ref for paper in held):
        ref += "-"
    new = replace(certificate, ref=ref)
    book = books_of([unit_id]).get(unit_id)
    before = ask((building, unit), day, book)
    after = ask((building, replace(unit, certificates=(*held, new))), day, book)
    was = {requirement.id: requirement for requirement in before.requirements}
    changes = tuple(
        Change(was[requirement.id], requirement)
        for requirement in after.requirements
        if requirement != was[requirement.id] or requirement.certificate == ref
    )
    bars_before, bars_after = _bars(before), _bars(after)
    return Preview(
        changes=changes,
        let=after.let,
        sale=after.sale,
        lifted=tuple(bar for bar in bars_before if bar not in bars_after),
        raised=tuple(bar for bar in bars_after if bar not in bars_before),
        same_day=tuple(paper for paper in held if _same_day(paper, certificate)),
    )


def _bars(standing: law.Standing) -> tuple[law.Reason, ...]:
    return tuple(dict.fromkeys((*standing.let.bars, *standing.sale.bars)))


def _same_day(paper: law.Certificate, other: law.Certificate) -> bool:
    days = ("inspected", "registered", "issued")
    return paper.kind == other.kind and any(
        getattr(paper, name) is not None and getattr(paper, name) == getattr(other, name) for name in days
    )


@transaction.atomic
def certificate_add(
    unit_id: int,
    certificate: law.Certificate,
    *,
    document: Document | None = None,
    also: Collection[int] = (),
    actor: Any,
    moment: Moment,
) -> Certificate:
    """Store a certificate with its appliance results and, if given, its file; the standing follows at once.

    An empty ref gets the next free one. `also` are other homes of the building, for a paper that speaks for all of
    it: each gets a paper of its own with the same words and the same file. Returns that of the home itself. Raises
    ValidationError, with nothing stored.
    """
    units = {unit.pk: unit for unit in locked_units({unit_id, *also})}
    unit = units.pop(unit_id)
    _check_also(unit, units, certificate, also)
    _list_papers((unit, *units.values()), actor=actor, moment=moment)
    row = _row_of(certificate, unit, certificate.ref or next_ref(unit.certificates, certificate.kind))
    save(row, actor=actor, moment=moment)
    appliances = dict(Appliance.objects.filter(unit=unit).values_list("ref", "pk"))
    checks = [
        ApplianceCheck(certificate=row, appliance_id=appliances[check.appliance], result=check.result)
        for check in certificate.appliances or ()
    ]
    if checks:
        create_all(ApplianceCheck, checks, actor=actor, moment=moment)
    rows = [row, *_copies(certificate, list(units.values()), actor=actor, moment=moment)]
    if document is not None:
        document.certificates.add(*rows)
    record(
        [_added(one, document, len(rows)) for one in rows],
        agency_id=unit.agency_id,
        actor=actor,
        moment=moment,
    )
    refresh([unit_id, *units], moment=moment, actor=actor)
    return row


def _check_also(unit: Unit, others: dict[int, Unit], paper: law.Certificate, also: Collection[int]) -> None:
    if not also:
        return
    if paper.kind not in law.BUILDING_PAPERS:
        raise ValidationError("This kind of paper speaks for one home only. Add it to each home by itself.")
    strangers = [one for one in others.values() if one.building_id != unit.building_id]
    if strangers or set(others) != set(also) - {unit.pk}:
        raise ValidationError("Not all of the homes chosen are in this building now. Choose them again.")


def _list_papers(units: Sequence[Unit], *, actor: Any, moment: Moment) -> None:
    """From now on the papers of these homes count as recorded."""
    for unit in units:
        if not unit.certificates_listed:
            unit.certificates_listed = True
            save(unit, actor=actor, moment=moment)


def _row_of(certificate: law.Certificate, unit: Unit, ref: str) -> Certificate:
    return Certificate(
        unit=unit,
        ref=ref,
        appliances_listed=certificate.appliances is not None,
        **{name: getattr(certificate, name) for name in CERTIFICATE_FIELDS},
    )


def _copies(
    certificate: law.Certificate, units: Sequence[Unit], *, actor: Any, moment: Moment
) -> list[Certificate]:
    """The same paper for each of these homes, under its next free ref there."""
    taken: dict[int, set[str]] = {unit.pk: set() for unit in units}
    for pk, ref in Certificate.objects.filter(unit__in=list(taken)).values_list("unit_id", "ref"):
        taken[pk].add(ref)
    rows = [_row_of(certificate, unit, free_ref(taken[unit.pk], certificate.kind)) for unit in units]
    return create_all(Certificate, rows, actor=actor, moment=moment) if rows else []


def _added(row: Certificate, document: Document | None, homes: int) -> Happening:
    number = f", number {row.number}" if row.number else ""
    shared = f", for {homes} homes of the building at once" if homes > 1 else ""
    says = f"{words.CERTIFICATE[row.kind]} added{number}{shared}."
    data = {"kind": row.kind, "sha256": document.sha256 if document else None}
    return Happening(Verb.CERTIFICATE_ADDED, f"certificate:{row.pk}", says, row.unit_id, data)


@transaction.atomic
def certificate_correct(
    certificate_id: int, facts: law.Certificate, *, why: str, actor: Any, moment: Moment
) -> list[str]:
    """Make what is on record of a certificate say what the paper says; returns the names of what changed.

    For slips of the pen, days nobody recorded, and papers that no longer count (`withdrawn`). The kind and the
    ref stay. Earlier states stay in its history; the reason goes into the record. Raises ValidationError.
    """
    if not why.strip():
        raise ValidationError("Say why the paper is corrected: the reason is kept.")
    unit = locked_unit(Certificate.objects.values_list("unit_id", flat=True).get(pk=certificate_id))
    row = Certificate.objects.get(pk=certificate_id)
    before = {name: getattr(row, name) for name in CERTIFICATE_FIELDS}
    for name in CERTIFICATE_FIELDS:
        if name != "kind":
            setattr(row, name, getattr(facts, name))
    changed = [name for name in CERTIFICATE_FIELDS if getattr(row, name) != before[name]]
    if facts.appliances is not None:
        changed += _correct_checks(row, facts.appliances, actor=actor, moment=moment)
        row.appliances_listed = True
    if not changed:
        return []
    save(row, actor=actor, moment=moment)
    says = f"{words.CERTIFICATE[row.kind]} corrected ({', '.join(changed)}): {why.strip()}"
    data = {"fields": changed, "why": why.strip()}
    happening = Happening(Verb.CERTIFICATE_CORRECTED, f"certificate:{row.pk}", says, unit.pk, data)
    record([happening], agency_id=unit.agency_id, actor=actor, moment=moment)
    refresh([unit.pk], moment=moment, actor=actor)
    return changed


def _correct_checks(
    row: Certificate, wanted: tuple[law.ApplianceCheck, ...], *, actor: Any, moment: Moment
) -> list[str]:
    """Set what the paper says of each appliance still in the home; returns the refs that changed."""
    appliances = dict(Appliance.objects.filter(unit=row.unit_id, removed=None).values_list("ref", "pk"))
    held = {check.appliance_id: check for check in row.checks.all()}
    results = {appliances[check.appliance]: check.result for check in wanted}
    changed = []
    for ref, pk in appliances.items():
        check, result = held.get(pk), results.get(pk)
        if check is None and result is not None:
            save(ApplianceCheck(certificate=row, appliance_id=pk, result=result), actor=actor, moment=moment)
        elif check is not None and result is None:
            check._history_user, check._history_date = actor, moment.at  # type: ignore[attr-defined]
            check.delete()
        elif check is not None and check.result != result:
            check.result = result
            save(check, actor=actor, moment=moment)
        else:
            continue
        changed.append(ref)
    return changed


@transaction.atomic
def document_attach(certificate_id: int, document: Document, *, actor: Any, moment: Moment) -> None:
    """Put one more file to a certificate."""
    unit = locked_unit(Certificate.objects.values_list("unit_id", flat=True).get(pk=certificate_id))
    row = Certificate.objects.get(pk=certificate_id)
    row.documents.add(document)
    says = f"The file '{document.name}' was put to the {words.CERTIFICATE[row.kind]}."
    happening = Happening(
        Verb.DOCUMENT_ADDED, f"certificate:{row.pk}", says, unit.pk, {"sha256": document.sha256}
    )
    record([happening], agency_id=unit.agency_id, actor=actor, moment=moment)
