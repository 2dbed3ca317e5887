"""`manage.py standing`: what a portfolio file's homes may do on a day. Needs no database."""

import json
import re
from argparse import ArgumentParser
from datetime import date

from django.core.management import BaseCommand

from portfolio.exchange.ahead import MOST_MONTHS, ahead_table, months_ahead
from portfolio.exchange.answer import answer, table
from portfolio.exchange.faults import Fault, Faults
from portfolio.exchange.kinds import as_day, shown
from portfolio.law.loader import load
from portfolio.management.files import faults_to_stderr, read_portfolio


class Command(BaseCommand):
    help = "Says of each home in a portfolio file whether it may be let and sold on a day, and why not."
    requires_system_checks = []

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("file", metavar="FILE", help="a portfolio/1 file, or - for standard input")
        parser.add_argument("--on", required=True, metavar="DATE", help="the day asked about, YYYY-MM-DD")
        parser.add_argument("--unit", action="append", default=[], metavar="REF", help="only this home")
        parser.add_argument(
            "--assume",
            action="append",
            default=[],
            metavar="ID[=DATE]",
            help="announced law taken as in force, from DATE or else the day announced",
        )
        parser.add_argument(
            "--ahead", metavar="MONTHS", help="also what the coming months hold, so many of them"
        )
        parser.add_argument("--json", action="store_true", help="the whole answer as JSON")

    def handle(
        self,
        *,
        file: str,
        on: str,
        unit: list[str],
        assume: list[str],
        ahead: str | None,
        json: bool,
        **options: object,
    ) -> None:
        with faults_to_stderr(self):
            wishes, months = _wishes(assume), _months(ahead)
            said = answer(load(), read_portfolio(file), _day("--on", on), unit, wishes)
            coming = months_ahead(said, months) if months else []
            if json:
                self.stdout.write(_as_json({**said, "ahead": coming} if months else said), ending="")
            else:
                self.stdout.write(table(said) + (ahead_table(coming) if months else ""), ending="")


def _wishes(assume: list[str]) -> dict[str, date | None]:
    """Announced law by id, with the day it is taken to begin where one was written."""
    wishes: dict[str, date | None] = {}
    for text in assume:
        name, equals, day = text.partition("=")
        if name in wishes:
            raise Faults([Fault("--assume", f"{shown(name)} is written twice", "write it once")])
        wishes[name] = _day("--assume", day) if equals else None
    return wishes


def _months(text: str | None) -> int:
    """How many months to look ahead; none when it is not asked."""
    if text is None:
        return 0
    if not re.fullmatch("[0-9]{1,3}", text) or not 1 <= int(text) <= MOST_MONTHS:
        cure = f"write a whole number from 1 to {MOST_MONTHS}"
        raise Faults([Fault("--ahead", f"{shown(text)} is not a number of months", cure)])
    return int(text)


def _day(option: str, text: str) -> date:
    day = as_day(text)
    if day is None:
        cure = "write a day of the calendar as YYYY-MM-DD, such as 2026-11-25"
        raise Faults([Fault(option, f"{shown(text)} is not a day", cure)])
    return day


def _as_json(said: dict[str, object]) -> str:
    return json.dumps(said, ensure_ascii=False, indent=1) + "\n"
