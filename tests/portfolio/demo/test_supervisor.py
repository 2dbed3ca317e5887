"""The supervisor with real processes: what it starts goes on, and goes when it goes."""

import os
import re
import signal
import subprocess
import sys
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from tests.processes import descendants, is_running, wait_until

SCRIPT = """
import os, sys
from pathlib import Path
from portfolio.demo.supervisor import ChildFailed, Program, Stopped, Supervisor

folder = Path(sys.argv[1])
try:
    with Supervisor(environment=os.environ, logs=folder / "log", say=print) as supervisor:
        for number, command in enumerate(sys.argv[2:]):
            shell = ["bash", "-c", f"note() {{ echo $$ >>{folder}/pids-{number}; }}; {command}"]
            supervisor.start(Program(f"child-{number}", shell, (folder / f"pids-{number}").exists))
        supervisor.watch()
except Stopped:
    print("Stopped.")
except ChildFailed as error:
    sys.exit(f"failed: {error}")
"""
SLEEP = "note; exec sleep 600"
Start = Callable[..., subprocess.Popen[str]]


@pytest.fixture
def start(tmp_path: Path) -> Iterator[Start]:
    """Start a supervisor of these shell commands."""
    started = []

    def begin(*commands: str) -> subprocess.Popen[str]:
        argv = [sys.executable, "-c", SCRIPT, str(tmp_path), *commands]
        process = subprocess.Popen(argv, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True)
        started.append(process)
        return process

    yield begin
    for process in started:
        process.terminate()  # a kill would leave what the shells themselves have started
        process.communicate(timeout=30)


def pids(folder: Path, number: int) -> list[int]:
    """The process ids that this child has had so far."""
    path = folder / f"pids-{number}"
    return [int(line) for line in path.read_text().split()] if path.exists() else []


def wait_for_children(folder: Path, count: int) -> list[int]:
    wait_until(lambda: all(pids(folder, number) for number in range(count)))
    return [pids(folder, number)[-1] for number in range(count)]


@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM, signal.SIGHUP, signal.SIGKILL])
def test_children_go_when_the_supervisor_does(start: Start, tmp_path: Path, number: signal.Signals) -> None:
    supervisor = start(SLEEP, SLEEP)
    children = wait_for_children(tmp_path, 2)
    assert all(map(is_running, children))
    supervisor.send_signal(number)
    supervisor.wait(20)
    wait_until(lambda: not any(map(is_running, children)))


def test_stop_is_clean_and_says_so(start: Start, tmp_path: Path) -> None:
    supervisor = start(SLEEP)
    wait_for_children(tmp_path, 1)
    supervisor.terminate()
    out, _ = supervisor.communicate(timeout=20)
    assert (supervisor.returncode, out) == (0, "Stopped.\n")


def test_killed_child_is_started_again_and_the_others_stay(start: Start, tmp_path: Path) -> None:
    supervisor = start(SLEEP, SLEEP)
    first, other = wait_for_children(tmp_path, 2)
    os.kill(first, signal.SIGKILL)
    wait_until(lambda: len(pids(tmp_path, 0)) == 2)
    assert is_running(pids(tmp_path, 0)[1])
    assert pids(tmp_path, 1) == [other]
    supervisor.terminate()
    out, _ = supervisor.communicate(timeout=20)
    assert "child-0 was killed by signal 9; starting it again in 0.5 s" in out


def test_child_that_keeps_dying_is_started_ever_less_often(start: Start, tmp_path: Path) -> None:
    supervisor = start("note; sleep 0.1; exit 3")
    wait_until(lambda: len(pids(tmp_path, 0)) == 3)
    supervisor.terminate()
    out, _ = supervisor.communicate(timeout=20)
    waits = re.findall(r"child-0 ended with status 3; starting it again in (\S+) s", out)
    assert waits[:2] == ["0.5", "1"]


def test_what_a_dead_child_left_running_is_cleared_away(start: Start, tmp_path: Path) -> None:
    supervisor = start("note; sleep 600 & sleep 600")
    wait_for_children(tmp_path, 1)
    wait_until(lambda: len(descendants(supervisor.pid)) == 3)
    child = pids(tmp_path, 0)[0]
    left = descendants(child)
    os.kill(child, signal.SIGKILL)
    wait_until(lambda: len(pids(tmp_path, 0)) == 2)
    assert not any(map(is_running, left))


@pytest.mark.slow
def test_child_that_ignores_a_request_is_killed(start: Start, tmp_path: Path) -> None:
    supervisor = start("trap '' TERM; note; while :; do sleep 0.2; done")
    (child,) = wait_for_children(tmp_path, 1)
    supervisor.terminate()
    supervisor.wait(20)
    assert not is_running(child)


def test_failed_start_names_the_child_and_stops_the_rest(start: Start, tmp_path: Path) -> None:
    supervisor = start(SLEEP, "echo no room >&2; exit 1")
    out, _ = supervisor.communicate(timeout=20)
    log = tmp_path / "log" / "child-1.log"
    assert out == f"failed: child-1 stopped at once. Its log is {log}\n"
    assert log.read_text() == "no room\n"
    assert supervisor.returncode == 1
    assert not any(map(is_running, pids(tmp_path, 0)))
