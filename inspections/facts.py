"""Defects as plain law facts, for the gate; named in settings.FACT_SOURCES."""

from collections import defaultdict
from collections.abc import Iterable
from datetime import datetime
from typing import Any

from inspections.models import Defect
from portfolio.clock import Moment
from portfolio.law import model as law
from portfolio.models import Certificate
from portfolio.past import records
from portfolio.services.write import create_all


class Defects:
    """The `portfolio.facts.FactSource` of this app."""

    def read(self, unit_ids: Iterable[int], *, known: datetime | None = None) -> dict[int, list[law.Defect]]:
        ids = list(unit_ids)
        defects = records(Defect, known, unit__in=ids)
        named = {defect.certificate_id for defect in defects} - {None}
        papers = dict(Certificate.objects.filter(pk__in=named).values_list("pk", "ref"))
        by_unit: dict[int, list[law.Defect]] = defaultdict(list)
        for defect in defects:
            by_unit[defect.unit_id].append(_fact(defect, papers.get(defect.certificate_id)))
        return by_unit

    def store(self, defects: dict[int, list[law.Defect]], *, actor: Any, moment: Moment) -> None:
        """Keep new defects. Their certificates must be stored already."""
        papers = {
            (unit_id, ref): pk
            for unit_id, ref, pk in Certificate.objects.filter(unit__in=list(defects)).values_list(
                "unit_id", "ref", "pk"
            )
        }
        records = [
            Defect(
                unit_id=unit_id,
                ref=d.ref,
                scheme=d.scheme,
                code=d.code,
                title=d.title,
                found=d.found,
                certificate_id=papers[unit_id, d.certificate] if d.certificate is not None else None,
                made_safe=d.made_safe,
                completed=d.completed,
                confirmed=d.confirmed,
                recorded_by=actor,
                completed_by=actor if d.completed is not None else None,
            )
            for unit_id, found in defects.items()
            for d in found
        ]
        create_all(Defect, records, actor=actor, moment=moment)


def _fact(d: Any, certificate: str | None) -> law.Defect:
    return law.Defect(
        ref=d.ref,
        scheme=d.scheme,
        code=d.code,
        title=d.title,
        found=d.found,
        certificate=certificate,
        made_safe=d.made_safe,
        completed=d.completed,
        confirmed=d.confirmed,
    )


DEFECTS = Defects()
