"""A demonstration with its homes in it, and a visitor's first step there: taking in the old list."""

from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, date, datetime, time
from pathlib import Path

from django.core.management import call_command
from django.test.utils import override_settings

from portfolio import clock
from portfolio.exchange.sheets.plan import plan
from portfolio.models import User
from portfolio.services.take_in import take_in


@contextmanager
def filled(on: date, folder: Path) -> Iterator[Path]:
    """The invented homes as on that day, their files below the folder."""
    with override_settings(SNECK_DEMO=True, VAR=folder, MEDIA_ROOT=folder / "files"):
        call_command("load_demo", on=on)
        yield folder


def morning(on: date) -> clock.Moment:
    return clock.moment_of(datetime.combine(on, time(9), UTC))


def import_list(content: bytes, agent: User, moment: clock.Moment) -> dict[str, str]:
    """Take in the good rows of the list; the state of every row by ref, the repeated row's left out."""
    made = plan(content, agency=agent.agency, moment=moment)
    assert made.table.unused == ("Rent pcm", "Notes")
    take_in(made.portfolio(), agency=agent.agency, actor=agent, moment=moment)
    assert [row.ref for row in made.rows if row.state == "duplicate"] == ["LG-2"]
    return {row.ref: row.state for row in made.rows if row.state != "duplicate"}
