"""Background work. Each task is short, safe to run twice and at once, and is given its day where that matters."""

from celery import shared_task

from portfolio import clock, standing


@shared_task(name="portfolio.catch_up")
def catch_up() -> int:
    """Ask the law again for every home whose day has come; returns how many."""
    return standing.catch_up(clock.moment())
