"""Background work. Each task is short, safe to run twice and at once, and is given its day where that matters."""

from celery import shared_task

from portfolio import clock, standing
from portfolio.services import policies, sheet_import


@shared_task(name="portfolio.catch_up")
def catch_up() -> int:
    """Ask the law again for every home whose day has come; returns how many. House policies left behind go on."""
    for pk in policies.waiting():
        policy_apply.delay(pk)
    return standing.catch_up(clock.moment())


@shared_task(name="portfolio.policy_apply")
def policy_apply(pk: int) -> bool:
    """Put a house policy that was asked for into force over every home of its agency."""
    return policies.policy_apply(pk, moment=clock.moment())


@shared_task(name="portfolio.sheet_read")
def sheet_read(pk: int) -> None:
    """Read an uploaded spreadsheet and compare it with the record; stores nothing of it."""
    sheet_import.read_in(pk, moment=clock.moment())


@shared_task(name="portfolio.sheet_take")
def sheet_take(pk: int) -> None:
    """Take in the rows that were asked for."""
    sheet_import.take(pk, moment=clock.moment(), progress=lambda done: sheet_import.tell_progress(pk, done))
