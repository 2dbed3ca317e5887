"""Starts child processes, starts them again when they die, and never leaves one behind.

Each child leads its own process group, so that Ctrl-C reaches the supervisor alone and it can stop them in
order; each has asked the kernel for SIGTERM should the supervisor die, even by SIGKILL (Linux only).
"""

import ctypes
import os
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, field
from pathlib import Path
from types import FrameType, TracebackType
from typing import Self

STOPS = (signal.SIGINT, signal.SIGTERM, signal.SIGHUP)
PR_SET_PDEATHSIG = 1
POLL_SECONDS = 0.2
READY_SECONDS = 60
GRACE_SECONDS = 10
LONGEST_DELAY_SECONDS = 30
STEADY_SECONDS = 60
"""A child that ran this long was well: its next restart is prompt again."""
LOG_BYTES = 5 * 1024 * 1024
"""A log longer than this is put aside once, as `.old`, before the next start writes to it."""

_libc = ctypes.CDLL(None, use_errno=True) if sys.platform == "linux" else None


class Stopped(BaseException):
    """Somebody asked the supervisor to stop (Ctrl-C, SIGTERM, a closed terminal)."""


class ChildFailed(Exception):
    """A child did not become ready; the message says which, and where its log is."""


@dataclass(frozen=True)
class Program:
    """What to run: `ready` answers whether it can be used yet (without it: once it is started)."""

    name: str
    argv: Sequence[str]
    ready: Callable[[], bool] = field(default=lambda: True)


@dataclass
class Child:
    """A program that runs, or waits for `restart_at` (seconds of the steady clock) to run again."""

    program: Program
    process: subprocess.Popen[bytes]
    started_at: float
    failures: int = 0
    restart_at: float | None = None


class Supervisor:
    """A context manager: leaving it, for whatever reason, stops every child, the first started last."""

    def __init__(self, *, environment: Mapping[str, str], logs: Path, say: Callable[[str], object]) -> None:
        self.environment = dict(environment)
        self.logs = logs
        self.say = say
        self.children: list[Child] = []

    def __enter__(self) -> Self:
        self.logs.mkdir(parents=True, exist_ok=True)
        for number in STOPS:
            signal.signal(number, _raise_stopped)
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        for number in STOPS:
            signal.signal(number, signal.SIG_IGN)
        # The first is what the others lean on: it goes when they are gone.
        _stop([child.process for child in self.children[1:]])
        _stop([child.process for child in self.children[:1]])

    def start(self, program: Program) -> None:
        """Start a program and wait until it is ready.

        Raises ChildFailed when it ends, or is still not ready after a minute.
        """
        child = Child(program, self._spawn(program), time.monotonic())
        self.children.append(child)
        while not program.ready():
            ended = child.process.poll() is not None
            if ended or time.monotonic() - child.started_at > READY_SECONDS:
                what = "stopped at once" if ended else f"was not ready after {READY_SECONDS} seconds"
                raise ChildFailed(f"{program.name} {what}. Its log is {self._log(program)}")
            time.sleep(POLL_SECONDS)

    def watch(self) -> None:
        """Start again whatever dies, until told to stop (raises Stopped)."""
        while True:
            for child in self.children:
                self._tend(child, time.monotonic())
            time.sleep(POLL_SECONDS)

    def _tend(self, child: Child, now: float) -> None:
        if child.restart_at is None and child.process.poll() is not None:
            # What the dead program had started itself would otherwise go on beside its successor.
            _kill_group(child.process)
            child.failures = 1 if now - child.started_at > STEADY_SECONDS else child.failures + 1
            delay = min(2.0 ** (child.failures - 1) / 2, LONGEST_DELAY_SECONDS)
            child.restart_at = now + delay
            name, code = child.program.name, child.process.returncode
            how = f"was killed by signal {-code}" if code < 0 else f"ended with status {code}"
            self.say(f"{name} {how}; starting it again in {delay:g} s. Its log is {self._log(child.program)}")
        elif child.restart_at is not None and now >= child.restart_at:
            child.process = self._spawn(child.program)
            child.started_at, child.restart_at = now, None

    def _log(self, program: Program) -> Path:
        return self.logs / f"{program.name}.log"

    def _spawn(self, program: Program) -> subprocess.Popen[bytes]:
        path = self._log(program)
        if path.exists() and path.stat().st_size > LOG_BYTES:
            path.replace(path.with_suffix(".old"))
        supervisor = os.getpid()
        with path.open("ab") as log:
            return subprocess.Popen(  # noqa: S603 - the programs are written in this project
                program.argv,
                env=self.environment,
                stdin=subprocess.DEVNULL,
                stdout=log,
                stderr=subprocess.STDOUT,
                process_group=0,
                preexec_fn=lambda: _die_with(supervisor),
            )


def _die_with(supervisor: int) -> None:
    """In the new child: be told to stop when the supervisor is gone, and stop now if it already is."""
    for number in STOPS:
        signal.signal(number, signal.SIG_DFL)
    if _libc is not None:
        _libc.prctl(PR_SET_PDEATHSIG, signal.SIGTERM)
    if os.getppid() != supervisor:
        os._exit(1)


def _stop(processes: Sequence[subprocess.Popen[bytes]]) -> None:
    """Ask all of them at once to stop, and kill what has not within the time of grace."""
    for process in processes:
        process.terminate()
    end = time.monotonic() + GRACE_SECONDS
    for process in processes:
        with suppress(subprocess.TimeoutExpired):
            process.wait(max(0, end - time.monotonic()))
        _kill_group(process)
        process.wait()


def _kill_group(process: subprocess.Popen[bytes]) -> None:
    with suppress(ProcessLookupError):
        os.killpg(process.pid, signal.SIGKILL)


def _raise_stopped(number: int, frame: FrameType | None) -> None:
    raise Stopped
