"""`manage.py add_user`: a log-in for somebody, and the first one for a new agency. Nobody signs up alone."""

import getpass
import sys
from argparse import ArgumentParser

from django.contrib.auth.password_validation import validate_password
from django.core.exceptions import ValidationError
from django.core.management import BaseCommand, CommandError
from django.db import transaction

from portfolio import clock, words
from portfolio.models import Agency, Landlord, User
from portfolio.services.write import save


class Command(BaseCommand):
    help = "Makes a log-in. The password is asked for, or read as one line from standard input."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("email", metavar="EMAIL")
        parser.add_argument("--name", required=True, help="the person's name")
        parser.add_argument("--role", required=True, choices=list(words.ROLE))
        parser.add_argument("--agency", required=True, metavar="NAME", help="whose homes it opens")
        parser.add_argument("--new-agency", action="store_true", help="begin that agency")
        parser.add_argument("--landlord", metavar="REF", help="for a landlord: whose homes in the agency")

    def handle(self, *, email: str, name: str, role: str, **options: str) -> None:
        try:
            with transaction.atomic():
                agency = self._agency(options["agency"], new=bool(options["new_agency"]))
                landlord = self._landlord(agency, options["landlord"])
                user = User(email=email, name=name, role=role, agency=agency, landlord=landlord)
                password = _password()
                validate_password(password, user)
                User.objects.create_user(
                    email, password, name=name, role=role, agency=agency, landlord=landlord
                )
        except ValidationError as bad:
            raise CommandError(" ".join(bad.messages)) from bad
        self.stdout.write(f"{email} may sign in as {words.ROLE[role].lower()} of {agency}.")

    def _agency(self, name: str, *, new: bool) -> Agency:
        held = list(Agency.objects.filter(name=name))
        if new and held:
            raise CommandError(f"There is an agency called {name} already: leave out --new-agency.")
        if new:
            agency = Agency(name=name)
            save(agency, actor=None, moment=clock.moment())
            return agency
        if len(held) != 1:
            known = ", ".join(Agency.objects.order_by("name").values_list("name", flat=True)) or "none yet"
            raise CommandError(f"No agency is called {name} (known: {known}). Begin one with --new-agency.")
        return held[0]

    def _landlord(self, agency: Agency, ref: str | None) -> Landlord | None:
        if ref is None:
            return None
        landlord = Landlord.objects.filter(agency=agency, ref=ref).first()
        if landlord is None:
            raise CommandError(f"{agency} has no landlord with the ref {ref}. Import a home of theirs first.")
        return landlord


def _password() -> str:
    if not sys.stdin.isatty():
        return sys.stdin.readline().rstrip("\r\n")
    password = getpass.getpass("Password: ")
    if getpass.getpass("Once more: ") != password:
        raise CommandError("The two were not the same. Nothing was made.")
    return password
