"""Links of jobs that do not work, and whoever guesses at them."""

from datetime import timedelta

import pytest
from django.core.cache import cache
from django.test import Client
from django.urls import reverse

from inspections.services import jobs
from portfolio.views import limits
from tests.factories import DAY, at
from tests.inspections.test_views_job_link import NOWHERE, press, text

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("noon", "no_sheet")]


def dead_links(job, url, agent):
    """A link of each kind that does not work."""
    yield reverse("job_link", args=[NOWHERE])
    yield reverse("job_link", args=["x"])
    jobs.job_link_new(job.pk, actor=agent, moment=at())
    yield url
    new = jobs.job_link_new(job.pk, actor=agent, moment=at())
    jobs.job_take_back(job.pk, why="x", actor=agent, moment=at())
    yield reverse("job_link", args=[new])


def test_every_link_that_does_not_work_gets_the_same_page(job, url, agent):
    found = [Client().get(one) for one in dead_links(job, url, agent)]
    assert {response.status_code for response in found} == {404}
    assert len({response.content for response in found}) == 1
    assert "ask whoever sent it" in text(found[0])
    assert {press(url, do).status_code for do in ("seen", "accept", "propose", "decline", "done")} == {404}


@pytest.mark.parametrize(("days", "status"), [(89, 200), (90, 404), (91, 404)])
def test_a_link_past_its_day_gets_that_page_too(url, time_machine, days, status):
    time_machine.move_to(at(DAY + timedelta(days)).at, tick=False)
    assert Client().get(url).status_code == status


def ask(url, address="192.0.2.1", method="get"):
    return getattr(Client(), method)(url, REMOTE_ADDR=address)


def test_guessing_is_ended_for_ten_minutes_and_others_are_not_held_up(url):
    wrong = [ask(reverse("job_link", args=[f"guess-{n}"])).status_code for n in range(limits.MOST_WRONG)]
    assert set(wrong) == {404}
    blocked = ask(reverse("job_link", args=["one-more"]))
    assert (blocked.status_code, blocked["Retry-After"]) == (429, "600")
    assert ask(url).status_code == 429
    assert ask(url, method="post").status_code == 429
    assert ask(url, "192.0.2.2").status_code == 200
    cache.delete("job-link-wrong:192.0.2.1")  # as it is after ten minutes
    assert ask(url).status_code == 200


def test_the_count_of_wrong_links_ends_by_itself(monkeypatch):
    kept = {}
    monkeypatch.setattr(limits.cache, "add", lambda key, value, seconds: kept.update({key: seconds}))
    ask(reverse("job_link", args=[NOWHERE]))
    assert kept == {"job-link-wrong:192.0.2.1": 600}


def test_who_opened_a_link_before_goes_on_with_it_beside_one_who_guesses(url):
    assert ask(url).status_code == 200
    for n in range(limits.MOST_WRONG + 1):
        ask(reverse("job_link", args=[f"guess-{n}"]))
    assert ask(reverse("job_link", args=[NOWHERE])).status_code == 429
    assert ask(url).status_code == 200


def test_a_right_link_is_never_counted_as_a_guess(url):
    assert {ask(url).status_code for _ in range(limits.MOST_WRONG + 5)} == {200}


def test_guessing_at_photos_counts_as_well(sent):
    for n in range(limits.MOST_WRONG):
        ask(reverse("job_link_evidence", args=[f"guess-{n}", 1]))
    assert ask(reverse("job_link", args=[sent[1]])).status_code == 429
