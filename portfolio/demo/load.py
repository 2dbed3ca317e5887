"""Filling an empty database with the invented agencies, their people, homes, files and marks."""

from dataclasses import dataclass
from typing import Any

from django.conf import settings
from django.core.files.base import ContentFile
from django.db import transaction
from django.utils.module_loading import import_string

from portfolio import documents, gate, words
from portfolio.clock import Moment
from portfolio.demo import papers, scenario
from portfolio.demo.scenario import Home, Told
from portfolio.models import Agency, Certificate, Landlord, Unit, User
from portfolio.services.certificates import document_attach
from portfolio.services.policies import policy_apply, policy_ask
from portfolio.services.take_in import take_in
from portfolio.services.write import save


@dataclass(frozen=True, slots=True)
class Loaded:
    """How much was invented: homes of the first agency, marks set and files attached."""

    agency: Agency
    homes: int
    marks: int
    files: int


@transaction.atomic
def load(moment: Moment) -> Loaded:
    """Invent both agencies, all or nothing. Every home goes in by the same door as an import."""
    agent = _people(scenario.people()["agency"], moment)
    _policy(agent, moment)
    told = scenario.agency_homes(moment.day)
    homes = _homes(told, agent, moment)
    files = _files(told, agent, moment)
    marks = _marks(told, agent, moment)
    for part in settings.DEMO_PARTS:
        import_string(part)(agent.agency, moment)
    stranger = _people(scenario.people()["elsewhere"], moment)
    _homes(scenario.strangers_homes(moment.day), stranger, moment)
    return Loaded(agent.agency, homes, marks, files)


def _people(told: dict[str, Any], moment: Moment) -> User:
    """The agency with its landlords and users; returns its agent."""
    agency = Agency(name=told["name"])
    save(agency, actor=None, moment=moment)
    landlords = {row["ref"]: Landlord(agency=agency, **row) for row in told["landlords"]}
    for landlord in landlords.values():
        save(landlord, actor=None, moment=moment)
    for row in told["users"]:
        whose = landlords[row["landlord"]] if "landlord" in row else None
        User.objects.create_user(
            row["email"], row["password"], name=row["name"], role=row["role"], agency=agency, landlord=whose
        )
    return agency.users.get(role="agent")


def _policy(agent: User, moment: Moment) -> None:
    """The house policy, in force before the first home comes in."""
    asks, why = scenario.policy()
    row = policy_ask(agent.agency, asks, why=why, actor=agent, moment=moment)
    policy_apply(row.pk, moment=moment)


def _homes(told: Told, agent: User, moment: Moment) -> int:
    return take_in(told.portfolio(), agency=agent.agency, actor=agent, moment=moment).created


def _files(told: Told, agent: User, moment: Moment) -> int:
    """Attach the invented scans and photographs; returns how many."""
    attached = 0
    for home in told.homes:
        for ref in home.scans:
            _attach(home, ref, _scan(home, ref), agent, moment)
        for ref, caption in home.photos.items():
            name = f"{home.ref} {caption} (invented).jpg"
            _attach(home, ref, papers.photograph(caption, name), agent, moment)
        attached += len(home.scans) + len(home.photos)
    return attached


def _scan(home: Home, ref: str) -> ContentFile:
    paper = next(paper for paper in home.facts["certificates"] if paper["ref"] == ref)
    days = [(word, paper[word]) for word in ("inspected", "registered", "issued", "until") if word in paper]
    lines = [f"Home: {home.ref}", f"Number: {paper['number']}", *(f"{w.capitalize()}: {d}" for w, d in days)]
    lines += [words.OUTCOME[paper["outcome"]]] if "outcome" in paper else []
    return papers.scan(words.CERTIFICATE[paper["kind"]], lines, f"{home.ref} {ref} (invented).pdf")


def _attach(home: Home, ref: str, file: ContentFile, agent: User, moment: Moment) -> None:
    document = documents.store(documents.accept(file), agency=agent.agency, actor=agent, moment=moment)
    paper = Certificate.objects.get(unit__agency=agent.agency, unit__ref=home.ref, ref=ref)
    document_attach(paper.pk, document, actor=agent, moment=moment)


def _marks(told: Told, agent: User, moment: Moment) -> int:
    """Mark the homes that the scenario says are marked. Raises gate.Barred if one of them is not clear."""
    wanted = [(home.ref, purpose) for home in told.homes for purpose in home.mark]
    ids = dict(Unit.objects.filter(agency=agent.agency).values_list("ref", "pk"))
    for ref, purpose in wanted:
        gate.mark(ids[ref], purpose, actor=agent, moment=moment)
    return len(wanted)
