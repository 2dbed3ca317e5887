"""Two phones, or one that tries again before it has its answer, send the same piece at once."""

from datetime import date
from threading import Barrier, Thread
from uuid import uuid4

import pytest
from django.db import connection

from inspections.models import Defect, Evidence
from inspections.services.evidence import evidence_add
from portfolio.law import model as law
from portfolio.models import Document, Event
from portfolio.services.events import verify
from tests.factories import at, make_agency, make_home, make_user
from tests.inspections.test_services_evidence import photo

pytestmark = [pytest.mark.django_db(transaction=True), pytest.mark.database]


def test_the_same_piece_sent_at_once_is_kept_once():
    found = law.Defect("d1", "bs7671", "C2", "Cracked socket", date(2026, 11, 20))
    home = make_home(make_agency(), defects=(found,))
    defect, user, key, file = Defect.objects.get(unit=home), make_user(home.agency), uuid4(), photo()
    together, kept, faults = Barrier(4), [], []

    def send() -> None:
        together.wait()
        try:
            piece = evidence_add(
                defect.pk, key=key, stage="after", accepted=file, actor=user, moment=at(),
            )  # fmt: skip
            kept.append(piece.pk)
        except Exception as fault:
            faults.append(fault)
        finally:
            connection.close()

    threads = [Thread(target=send) for _ in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert faults == []
    assert len(kept) == 4
    assert len(set(kept)) == 1
    assert Evidence.objects.count() == Document.objects.count() == 1
    assert Event.objects.filter(verb="evidence.added").count() == 1
    assert verify(home.agency) is None
