"""What tests of jobs begin with: stored once for each module, and handed to each test as a copy.

A module of which some tests must not find a job there yet has a `sent` of its own.
"""

from copy import deepcopy
from dataclasses import dataclass

import pytest
from django.urls import reverse

from inspections.models import Contractor, Defect, Job
from portfolio.models import Agency, User
from tests.factories import make_agency, make_user
from tests.inspections.job_cases import make_defects, make_firm, send


@dataclass(frozen=True)
class Begun:
    """An agency with an electrician, and a home with two defects for it to mend."""

    agency: Agency
    agent: User
    firm: Contractor
    defects: list[Defect]


@pytest.fixture
def no_sheet(monkeypatch: pytest.MonkeyPatch) -> None:
    """Drawing the sheet of a job is tried in test_job_papers."""
    monkeypatch.setattr("inspections.services.job_mail.job_sheet", lambda *_, **__: b"%PDF-")


@pytest.fixture(scope="module")
def begun(in_common: None) -> Begun:
    agency = make_agency("Latchford Lettings")
    return Begun(agency, make_user(agency), make_firm(agency), make_defects(agency, "C1", "C2"))


@pytest.fixture(scope="module")
def sent_in_common(begun: Begun) -> tuple[Job, str]:
    """A job of both defects, and the secret of its link."""
    with pytest.MonkeyPatch.context() as monkeypatch:
        monkeypatch.setattr("inspections.services.job_mail.job_sheet", lambda *_, **__: b"%PDF-")
        return send(begun.firm, begun.defects, begun.agent, access_notes="Key at no 4.")


@pytest.fixture
def agency(begun: Begun) -> Agency:
    return deepcopy(begun.agency)


@pytest.fixture
def agent(begun: Begun) -> User:
    return deepcopy(begun.agent)


@pytest.fixture
def firm(begun: Begun) -> Contractor:
    return deepcopy(begun.firm)


@pytest.fixture
def defects(begun: Begun) -> list[Defect]:
    return deepcopy(begun.defects)


@pytest.fixture
def sent(sent_in_common: tuple[Job, str]) -> tuple[Job, str]:
    return deepcopy(sent_in_common)


@pytest.fixture
def job(sent: tuple[Job, str]) -> Job:
    return sent[0]


@pytest.fixture
def url(sent: tuple[Job, str]) -> str:
    return reverse("job_link", args=[sent[1]])
