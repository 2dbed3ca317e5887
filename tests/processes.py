"""Looks at processes from outside, for the tests that start real ones."""

import time
from collections.abc import Callable
from pathlib import Path


def wait_until(true: Callable[[], object], seconds: float = 20) -> None:
    """Raises AssertionError when it is not so in time."""
    end = time.monotonic() + seconds
    while not true():
        assert time.monotonic() < end, f"still not so after {seconds} seconds"
        time.sleep(0.05)


def is_running(pid: int) -> bool:
    """A process that has ended but that nobody has asked about yet (a zombie) no longer runs."""
    return _state_and_parent(pid)[0] not in {"", "Z", "X"}


def descendants(pid: int) -> list[int]:
    """All running processes below this one, however deep."""
    children: dict[int, list[int]] = {}
    for path in Path("/proc").glob("[0-9]*"):
        state, parent = _state_and_parent(int(path.name))
        if state not in {"", "Z"}:
            children.setdefault(parent, []).append(int(path.name))
    found, todo = [], [pid]
    while todo:
        todo += (below := children.get(todo.pop(), []))
        found += below
    return found


def _state_and_parent(pid: int) -> tuple[str, int]:
    try:
        text = Path(f"/proc/{pid}/stat").read_text(encoding="utf-8", errors="replace")
    except (FileNotFoundError, ProcessLookupError):
        return "", 0
    state, parent = text.rpartition(")")[2].split()[:2]
    return state, int(parent)
