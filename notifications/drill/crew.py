"""The drill's processes: a Redis server, workers and beat as they run in service, to be killed and started again."""

import signal
import subprocess
import sys
import time
from contextlib import suppress
from pathlib import Path
from random import Random
from types import TracebackType
from typing import Self

READY_SECONDS = 60
_CELERY = [sys.executable, "-m", "celery", "-A", "portfolio"]
_QUIET = ["--without-gossip", "--without-mingle"]


class Crew:
    """A context manager: whatever it started is gone when it is left."""

    def __init__(self, folder: Path, *, workers: int, chance: Random) -> None:
        self.folder, self.chance = folder, chance
        self.names = [f"worker{number}" for number in range(workers)]
        self.running: dict[str, subprocess.Popen[bytes]] = {}
        self.kills = 0

    def __enter__(self) -> Self:
        try:
            self.start_redis()
            for name in [*self.names, "beat"]:
                self._start(name)
        except BaseException:
            self.stop()
            raise
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.stop()

    def start_redis(self) -> None:
        """Start it empty, and wait until it answers."""
        path = self.folder / "redis.sock"
        path.unlink(missing_ok=True)
        argv = ["redis-server", "--port", "0", "--unixsocket", str(path), "--save", "", "--appendonly", "no"]
        self._spawn("redis", [*argv, "--dir", str(self.folder), "--daemonize", "no"])
        end = time.monotonic() + READY_SECONDS
        while not path.exists():
            if time.monotonic() > end:
                raise RuntimeError("redis-server did not start")
            time.sleep(0.05)

    def kill_redis(self) -> None:
        self._kill("redis")

    def kill_a_worker(self) -> None:
        """SIGKILL to one that runs, whatever it is doing."""
        alive = [name for name in self.names if self.running[name].poll() is None]
        if alive:
            self._signal(self.running[self.chance.choice(alive)])
            self.kills += 1

    def tend(self) -> None:
        """Start again whatever has ended."""
        for name in [*self.names, "beat"]:
            if self.running[name].poll() is not None:
                self._start(name)

    def stop(self) -> None:
        for name in list(self.running):
            self._kill(name)

    def _start(self, name: str) -> None:
        if name == "beat":
            schedule = ["--schedule", str(self.folder / "schedule"), "--pidfile", ""]
            self._spawn(name, [*_CELERY, "beat", *schedule])
        else:
            self._spawn(name, [*_CELERY, "worker", "--pool", "solo", "--hostname", f"{name}@drill", *_QUIET])

    def _spawn(self, name: str, argv: list[str]) -> None:
        with (self.folder / f"{name}.log").open("ab") as log:
            self.running[name] = subprocess.Popen(  # noqa: S603 - the programs are written in this project
                argv, stdin=subprocess.DEVNULL, stdout=log, stderr=subprocess.STDOUT
            )

    def _kill(self, name: str) -> None:
        process = self.running.pop(name)
        self._signal(process)
        process.wait()

    @staticmethod
    def _signal(process: subprocess.Popen[bytes]) -> None:
        with suppress(ProcessLookupError):
            process.send_signal(signal.SIGKILL)
