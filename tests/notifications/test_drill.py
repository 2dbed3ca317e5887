"""The drill and the measurement: that they run, and that a broken promise shows."""

import os
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

from notifications.drill.office import Delivery
from notifications.drill.tally import Row, tally

ROOT = Path(__file__).resolve().parents[2]
TAKEN = Delivery("<1@example.org>", "digest", dropped=False, known=True, with_link=True)
DROPPED = Delivery("<1@example.org>", "digest", dropped=True, with_link=True)
GONE = Delivery("<1@example.org>", "digest", dropped=False, with_link=True)


def row(**changes: Any) -> Row:
    told = {"reader": "ann", "message_id": "<1@example.org>", "state": "sent", "lost": 0, "keeps_link": False}
    return Row(**{**told, **changes})


def other(delivery: Delivery, **changes: Any) -> Delivery:
    return Delivery(**{**{name: getattr(delivery, name) for name in Delivery.__annotations__}, **changes})


@pytest.mark.parametrize(
    ("record", "came", "refused"),
    [
        (row(), [TAKEN], False),
        (row(lost=1), [DROPPED, TAKEN], False),
        (row(lost=2), [GONE, DROPPED, TAKEN], False),
        (row(lost=1), [TAKEN], False),
        (row(state="failed"), [], True),
        (row(follows=True, counted=1), [TAKEN], False),
        (row(follows=True, state="failed"), [], True),
    ],
)
def test_kept_promises_are_no_faults(record, came, refused):
    assert tally([record], {"ann": came} if came else {}, {"ann"} if refused else set()).faults == []


@pytest.mark.parametrize(
    ("record", "came", "refused", "fault"),
    [
        (row(), [], False, "never delivered"),
        (row(), [TAKEN, TAKEN], False, "sent again although the answer was known"),
        (row(), [DROPPED, TAKEN], False, "never recorded as unclear"),
        (row(lost=1), [DROPPED, other(TAKEN, message_id="<2@x>")], False, "another Message-ID"),
        (row(lost=1), [DROPPED, other(TAKEN, digest="other")], False, "other words"),
        (row(), [other(TAKEN, with_link=False)], False, "without its link"),
        (row(keeps_link=True), [TAKEN], False, "its link is still kept"),
        (row(state="sending"), [TAKEN], False, "recorded as sending"),
        (row(state="failed"), [TAKEN], True, "though the mail server refuses it"),
        (row(), [], True, "recorded as sent"),
        (row(reader="bo"), [TAKEN], False, "but never written"),
        (row(follows=True), [TAKEN], False, "what follows was not recorded"),
        (row(follows=True, counted=2), [TAKEN], False, "recorded more than once"),
        (row(counted=1), [TAKEN], False, "does not follow"),
        (row(follows=True, counted=1, state="failed"), [], True, "does not follow"),
    ],
)
def test_each_broken_promise_is_found(record, came, refused, fault):
    faults = tally([record], {"ann": came} if came else {}, {"ann"} if refused else set()).faults
    assert any(fault in said for said in faults), faults


def test_figures_say_why_something_came_twice():
    rows = [row(lost=2), row(reader="bo", state="failed")]
    figures = tally(rows, {"ann": [GONE, DROPPED, TAKEN]}, {"bo"}).figures
    assert figures["messages"] == 2
    assert (figures["delivered"], figures["delivered more than once"], figures["refused for good"]) == (
        1,
        1,
        1,
    )
    assert sum(count for name, count in figures.items() if name.startswith("…")) == 2


def run(*arguments: str, **more: str) -> subprocess.CompletedProcess[str]:
    kept = {name: value for name, value in os.environ.items() if name not in {"DATABASE_URL", "SNECK_VAR"}}
    argv = [sys.executable, str(ROOT / "manage.py"), *arguments]
    return subprocess.run(argv, env=kept | more, capture_output=True, text=True, check=False, timeout=500)


@pytest.mark.slow
def test_every_message_arrives_though_workers_are_killed_and_redis_loses_everything():
    answer = run("drill_mail", "--messages", "120", "--kills", "3")
    assert answer.returncode == 0, answer.stdout + answer.stderr
    assert "Every promise was kept." in answer.stdout
    assert "      3  workers killed\n" in answer.stdout
    assert "      1  workers killed while they recorded what follows" in answer.stdout
    assert "      4  errors over what follows" in answer.stdout


@pytest.mark.slow
def test_the_measurement_says_how_fast_both_are():
    answer = run("bench_mail", "--messages", "100")
    assert answer.returncode == 0, answer.stdout + answer.stderr
    assert answer.stdout.count("; ratio ") == 2


@pytest.mark.slow
def test_a_drill_does_not_touch_a_database_in_use(tmp_path):
    database = f"sqlite:///{tmp_path}/mine.sqlite3"
    assert run("migrate", "notifications", "--verbosity", "0", DATABASE_URL=database).returncode == 0
    answer = run("drill_mail", "--messages", "120", DATABASE_URL=database)
    assert answer.returncode != 0
    assert "is not empty" in answer.stderr
