"""What the demonstration invents of this app: who mends and who confirms, and repairs on their way.

Named in settings.DEMO_PARTS. Whatever happens to a home is done by the services that people use, so that nothing here
could not have been recorded by hand.
"""

import tomllib
from collections.abc import Mapping
from datetime import date, time
from typing import Any, cast
from uuid import UUID, uuid5

from django.core.files.base import ContentFile

from inspections.models import Competence, Contractor, Defect, Evidence, Job, Registration
from inspections.services import jobs, visits
from inspections.services.defects import defect_send_back
from inspections.services.evidence import Paper
from portfolio import documents
from portfolio.clock import Moment
from portfolio.demo import papers
from portfolio.demo.days import in_place
from portfolio.demo.scenario import FOLDER
from portfolio.models import Agency, Unit
from portfolio.services.write import save

Table = dict[str, Any]
KEYS = UUID("5eec0de0-0000-4000-8000-000000000000")
"""What phones and pages would have made keys of."""


def load(agency: Agency, moment: Moment) -> None:
    """Give the invented agency its contractors, and its people their competence."""
    told = _told(moment.day)
    for row in told["competences"]:
        user = agency.users.get(email=row["user"])
        for scheme in row["schemes"]:
            save(Competence(user=user, scheme=scheme, by=row["by"]), actor=None, moment=moment)
    for row in told["contractors"]:
        _contractor(agency, row, moment)


def mend(agency: Agency, moment: Moment) -> None:
    """Let a home be visited and jobs go out; answer some of them. The homes are there by now."""
    told = _told(moment.day)
    for row in told["visits"]:
        _visit(agency, row, moment)
    for row in told["jobs"]:
        _job(agency, row, moment)


def homes_mended(day: date) -> set[str]:
    """Refs of the homes whose defects are no longer just as their file tells them."""
    told = _told(day)
    return {row["home"] for row in told["visits"]} | {
        one["home"] for row in told["jobs"] for one in row["defects"]
    }


def _told(day: date) -> Table:
    table = tomllib.loads((FOLDER / "repairs.toml").read_text(encoding="utf-8"))
    return cast("Table", in_place(table, {"today": day}))


def _contractor(agency: Agency, row: Table, moment: Moment) -> None:
    registrations, people = row.pop("registrations"), row.pop("people", [])
    contractor = Contractor(agency=agency, **row)
    save(contractor, actor=None, moment=moment)
    contractor.people.set(agency.users.filter(email__in=people))
    for held in registrations:
        save(Registration(contractor=contractor, **held), actor=None, moment=moment)


def _visit(agency: Agency, row: Table, moment: Moment) -> None:
    by: Table = {"actor": agency.users.get(email=row["by"]), "moment": moment}
    unit = Unit.objects.get(agency=agency, ref=row["home"])
    rooms = {room.ref: room for room in unit.rooms.all()}
    name = f"visit of {unit.ref}"
    visit = visits.visit_begin(unit.pk, key=uuid5(KEYS, name), **by)
    for found in row["found"]:
        room, photo = rooms[found.pop("room")], _photo(found.pop("photo"))
        key = uuid5(KEYS, f"{name}: {found['title']}")
        visits.found_record(visit.pk, key=key, room=room, photos=[photo], **found, **by)
    for look in row["looks"]:
        room = rooms[look.pop("room")]
        visits.look_record(visit.pk, key=uuid5(KEYS, f"{name}: {room.ref}"), room=room, **look, **by)
    visits.visit_end(visit.pk, says=row["says"], **by)


def _job(agency: Agency, row: Table, moment: Moment) -> None:
    agent = agency.users.filter(role="agent").first()
    firm = Contractor.objects.get(agency=agency, name=row["contractor"])
    defects = {one["defect"]: _defect(agency, one) for one in row["defects"]}
    chosen = [defect.pk for defect in defects.values()]
    job, _ = jobs.job_send(firm.pk, chosen, access_notes=row["access_notes"], actor=agent, moment=moment)
    if "proposed" in row:
        jobs.job_answer(job.pk, answer="accepted", moment=moment)
        jobs.job_propose_day(job.pk, **_hours(row["proposed"]), moment=moment)
    for done in row.get("done", []):
        _done(job, defects[done["defect"]], done, moment)
        if "sent_back" in done:
            inspector = agency.users.get(email=done["sent_back"]["by"])
            why = done["sent_back"]["why"]
            defect_send_back(defects[done["defect"]].pk, why=why, actor=inspector, moment=moment)


def _defect(agency: Agency, one: Mapping[str, str]) -> Defect:
    return Defect.objects.get(unit__agency=agency, unit__ref=one["home"], ref=one["defect"])


def _hours(proposed: Mapping[str, str]) -> Table:
    return {
        "day": date.fromisoformat(proposed["day"]),
        "start": time.fromisoformat(proposed["from"]),
        "end": time.fromisoformat(proposed["to"]),
    }


def _done(job: Job, defect: Defect, done: Table, moment: Moment) -> None:
    """The contractor says that it is done, with what shows it."""
    jobs.job_claim_done(job.pk, defect.pk, on=moment.day, work=done["work"], moment=moment)
    _proof(job, defect, [_photo(done["photo"])] if "photo" in done else [], done["says"], None, moment)
    if "paper" in done:
        kind, number = done["paper"]["kind"], done["paper"]["number"]
        lines = [f"Home: {defect.unit}", f"Number: {number}", f"Day: {moment.day}"]
        file = papers.scan(done["paper"]["title"], lines, f"{number} (invented).pdf")
        _proof(job, defect, [documents.accept(file)], "", Paper(kind, number, moment.day), moment)


def _proof(
    job: Job, defect: Defect, files: list[documents.Accepted], says: str, paper: Paper | None, moment: Moment
) -> list[Evidence]:
    key = uuid5(KEYS, f"proof of {defect.unit.ref} {defect.ref} {paper}")
    return jobs.job_proof_add(
        job.pk, defect.pk, key=key, accepted=files, says=says, paper=paper, moment=moment
    )


def _photo(caption: str) -> documents.Accepted:
    file: ContentFile = papers.photograph(caption, f"{caption} (invented).jpg")
    return documents.accept(file)
