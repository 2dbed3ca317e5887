"""`manage.py bank_holidays NATION`: prints the `bank_holidays.toml` of a nation's law pack."""

from argparse import ArgumentParser
from collections.abc import Iterable
from datetime import date

from django.core.management import BaseCommand

from portfolio import clock
from portfolio.law.model import NATIONS

CALENDARS = {"england": "ENG", "wales": "WLS", "scotland": "SCT", "northern_ireland": "NIR"}
"""What the holidays package calls each nation."""
SOURCES = {
    "england": "Banking and Financial Dealings Act 1971, s.1 and Sch 1 para 1, and proclamations",
    "wales": "Banking and Financial Dealings Act 1971, s.1 and Sch 1 para 1, and proclamations",
    "scotland": "Banking and Financial Dealings Act 1971, s.1 and Sch 1 para 2 (30 November: asp 2007/2, s.1), "
    "and proclamations",
    "northern_ireland": "Banking and Financial Dealings Act 1971, s.1 and Sch 1 para 3, and proclamations",
}
FIRST, LAST = 2015, 2045


class Command(BaseCommand):
    help = "Prints a nation's bank holidays, Monday to Friday, as its law pack keeps them."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("nation", choices=NATIONS)
        parser.add_argument("--from", dest="first", type=int, default=FIRST, metavar="YEAR")
        parser.add_argument("--to", dest="last", type=int, default=LAST, metavar="YEAR")

    def handle(self, *, nation: str, first: int, last: int, **options: object) -> None:
        if first > last:
            self.stderr.write(f"--from {first} is after --to {last}: give the earlier year first.")
            raise SystemExit(2)
        years = {year: weekdays_off(nation, year) for year in range(first, last + 1)}
        self.stdout.write("\n".join(as_toml(nation, years, clock.today())))


def weekdays_off(nation: str, year: int) -> list[date]:
    """Bank holidays of a year that take a weekday, days in place of weekend ones included."""
    import holidays  # here, because it is large and nothing else needs it

    found = holidays.country_holidays("GB", subdiv=CALENDARS[nation], years=year)
    return sorted(day for day in found if day.weekday() < 5 and day.year == year)


def as_toml(nation: str, years: dict[int, list[date]], checked_on: date) -> Iterable[str]:
    yield f"# Written by `manage.py bank_holidays {nation} --from {min(years)} --to {max(years)}`."
    yield "# Monday to Friday only; Good Friday and Christmas Day, holidays by custom in some nations, are counted in."
    yield "# Years not yet proclaimed are as the Act and the custom of substitute days give them."
    yield f'source = "{SOURCES[nation]}"'
    yield 'url = "https://www.gov.uk/bank-holidays"'
    yield f"checked_on = {checked_on}"
    yield ""
    yield "[days]"
    for year, days in years.items():
        yield f"{year} = [{', '.join(map(str, days))}]"
