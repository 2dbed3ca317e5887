"""What the demonstration invents of this app: who may confirm, and who mends. Named in settings.DEMO_PARTS."""

import tomllib
from typing import Any, cast

from inspections.models import Competence, Contractor, Registration
from portfolio.clock import Moment
from portfolio.demo.days import in_place
from portfolio.demo.scenario import FOLDER
from portfolio.models import Agency
from portfolio.services.write import save


def load(agency: Agency, moment: Moment) -> None:
    """Give the invented agency its contractors, and its people their competence."""
    told = _told(moment)
    for row in told["competences"]:
        user = agency.users.get(email=row["user"])
        for scheme in row["schemes"]:
            save(Competence(user=user, scheme=scheme, by=row["by"]), actor=None, moment=moment)
    for row in told["contractors"]:
        _contractor(agency, row, moment)


def _told(moment: Moment) -> dict[str, Any]:
    table = tomllib.loads((FOLDER / "repairs.toml").read_text(encoding="utf-8"))
    return cast("dict[str, Any]", in_place(table, {"today": moment.day}))


def _contractor(agency: Agency, row: dict[str, Any], moment: Moment) -> None:
    registrations = row.pop("registrations")
    contractor = Contractor(agency=agency, **row)
    save(contractor, actor=None, moment=moment)
    for held in registrations:
        save(Registration(contractor=contractor, **held), actor=None, moment=moment)
