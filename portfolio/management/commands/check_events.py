"""`manage.py check_events`: proves that no line of the record is missing or altered."""

from argparse import ArgumentParser

from django.core.management import BaseCommand

from portfolio.management.files import agency_named, faults_to_stderr
from portfolio.models import Agency
from portfolio.services.events import verify

BROKEN = 1


class Command(BaseCommand):
    help = "Checks the chain of events of every agency, or of one; names the first line that does not hold."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--agency", metavar="NAME", help="only this agency")

    def handle(self, *, agency: str | None, **options: object) -> None:
        with faults_to_stderr(self):
            agencies = [agency_named(agency)] if agency else list(Agency.objects.order_by("pk"))
        broken = False
        for one in agencies:
            found = verify(one)
            if found is None:
                self.stdout.write(f"{one}: every line holds.")
            else:
                broken = True
                self.stderr.write(f"{one}: {found.why}.")
        if broken:
            raise SystemExit(BROKEN)
