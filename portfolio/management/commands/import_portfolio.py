"""`manage.py import_portfolio`: takes a portfolio file into an agency's records, whole or not at all."""

from argparse import ArgumentParser
from collections import Counter

from django.core.exceptions import ValidationError
from django.core.management import BaseCommand
from django.db import IntegrityError

from portfolio import clock
from portfolio.exchange.faults import Fault, Faults, visible
from portfolio.law import model as law
from portfolio.management.files import agency_named, faults_to_stderr, importer, read_portfolio
from portfolio.models import Agency, User
from portfolio.services import take_in

MANY = 1_000
"""From so many homes on, progress is told."""


class Command(BaseCommand):
    help = "Takes a portfolio file into an agency's records: all of it, or nothing when anything is wrong."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("file", metavar="FILE", help="a portfolio/1 file, or - for standard input")
        parser.add_argument("--agency", required=True, metavar="NAME", help="whose records")
        parser.add_argument("--check", action="store_true", help="say what would happen; store nothing")
        parser.add_argument("--as", dest="email", metavar="EMAIL", help="who is on record as having done it")

    def handle(self, *, file: str, agency: str, check: bool, email: str | None, **options: object) -> None:
        with faults_to_stderr(self):
            owner = agency_named(agency)
            actor = importer(email, owner) if email else None
            portfolio = read_portfolio(file)
            if check:
                self._would(portfolio, owner)
            else:
                self._take(portfolio, owner, actor)

    def _would(self, portfolio: law.Portfolio, agency: Agency) -> None:
        if faults := take_in.check(portfolio, agency=agency, day=clock.today()):
            raise Faults(faults)
        merges = take_in.compare(portfolio, agency=agency)
        for ref, merge in merges.items():
            changes = f": {', '.join(merge.changes)}" if merge.state == "changed" else ""
            self.stdout.write(visible(f"{merge.state:8} {ref}{changes}"))
        states = Counter(merge.state for merge in merges.values())
        self.stdout.write("Nothing is stored. It would be: " + _counts(states))

    def _take(self, portfolio: law.Portfolio, agency: Agency, actor: User | None) -> None:
        count = len(portfolio.units)

        def progress(done: int) -> None:
            if count >= MANY:
                self.stderr.write(f"{done} of {count} homes")

        try:
            taken = take_in.take_in(
                portfolio, agency=agency, actor=actor, moment=clock.moment(), progress=progress
            )
        except take_in.Refused as error:
            raise Faults(error.faults) from error
        except ValidationError as error:
            wrong = " ".join(error.messages)
            raise Faults([Fault("", wrong, "correct the file; nothing was stored")]) from error
        except IntegrityError as error:
            wrong = "somebody else stored one of these homes, buildings or landlords at the same time"
            raise Faults([Fault("", wrong, "run this again; nothing was stored")]) from error
        states = {"new": taken.created, "changed": taken.changed, "same": taken.same}
        self.stdout.write("Taken in: " + _counts(states))


def _counts(states: dict[str, int]) -> str:
    new, changed, same = (states.get(state, 0) for state in ("new", "changed", "same"))
    return f"homes created {new}, changed {changed}, unchanged {same}."
