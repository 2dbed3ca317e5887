"""`manage.py load_demo`: fill an empty demonstration database with invented homes."""

from argparse import ArgumentParser
from datetime import date, datetime, time

from django.conf import settings
from django.core.management import BaseCommand, CommandError

from portfolio import clock
from portfolio.demo import scenario, sheet
from portfolio.demo.load import load
from portfolio.models import Agency


class Command(BaseCommand):
    help = "Fills an empty demonstration database with two invented agencies, their homes, files and marks."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument(
            "--on", type=date.fromisoformat, metavar="DATE", help="the day it is told for, YYYY-MM-DD (today)"
        )

    def handle(self, *, on: date | None, **options: object) -> None:
        if not settings.SNECK_DEMO:
            raise CommandError(
                "Anybody can read the passwords of its log-ins, so it loads only where SNECK_DEMO=1 is set."
            )
        held = Agency.objects.first()
        if held is not None:
            raise CommandError(
                f"This database already holds an agency, {held.name}. The demonstration goes into an empty "
                "one: set SNECK_VAR to another folder, or start `./run demo --fresh`."
            )
        moment = clock.moment() if on is None else _morning_of(on)
        loaded = load(moment)
        paths = sheet.write_into(settings.VAR / "demo", moment.day)
        self.stdout.write(f"{loaded.homes} invented homes, {loaded.marks} marks, {loaded.files} files.")
        for path in paths:
            self.stdout.write(f"The agency's old list, to import by hand: {path}")
        for role, email, password in scenario.logins():
            self.stdout.write(f"  {role:<10} {email:<24} {password}")


def _morning_of(day: date) -> clock.Moment:
    return clock.moment_of(datetime.combine(day, time(9), clock.LONDON))
