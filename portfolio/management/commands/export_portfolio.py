"""`manage.py export_portfolio`: writes what an agency holds as a portfolio file."""

from argparse import ArgumentParser
from pathlib import Path

from django.core.management import BaseCommand

from portfolio.exchange import portfolio1
from portfolio.exchange.faults import Fault, Faults
from portfolio.exchange.kinds import shown
from portfolio.management.files import agency_named, faults_to_stderr
from portfolio.models import Agency
from portfolio.selectors.portfolios import portfolio_held, unit_refs_unknown


class Command(BaseCommand):
    help = "Writes the buildings and homes that an agency holds as a portfolio/1 file."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("file", nargs="?", default="-", metavar="FILE", help="where to (standard output)")
        parser.add_argument("--agency", required=True, metavar="NAME", help="whose records")
        parser.add_argument("--unit", action="append", default=[], metavar="REF", help="only this home")

    def handle(self, *, file: str, agency: str, unit: list[str], **options: object) -> None:
        with faults_to_stderr(self):
            text = _text(agency_named(agency), unit)
            if file == "-":
                self.stdout.write(text, ending="")
                return
            try:
                Path(file).write_text(text, encoding="utf-8")
            except OSError as error:
                wrong = f"the file cannot be written ({error.strerror or error})"
                raise Faults([Fault(file, wrong, "choose another place")]) from error


def _text(agency: Agency, refs: list[str]) -> str:
    unknown = unit_refs_unknown(agency, refs)
    if unknown:
        cure = f"write the ref of a home of {agency}"
        raise Faults(Fault("--unit", f"no home has the ref {shown(ref)}", cure) for ref in unknown)
    return portfolio1.text(portfolio_held(agency, refs))
