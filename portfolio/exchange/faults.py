"""What is wrong with something handed to us: where, what, and how to put it right."""

from collections.abc import Iterable
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Fault:
    """One thing wrong.

    `path` is a JSON Pointer (RFC 6901), a cell such as `Homes!F12`, or an option such as `--on`; empty means
    the whole file.
    """

    path: str
    wrong: str
    cure: str

    def __str__(self) -> str:
        """One line, whatever the texts hold."""
        return visible(f"{self.path or '/'}: {self.wrong}: {self.cure}")


class Faults(Exception):
    """Everything wrong with one file. Nothing of such a file is used."""

    def __init__(self, faults: Iterable[Fault]) -> None:
        self.faults: list[Fault] = list(faults)
        super().__init__("\n".join(map(str, self.faults)))


def child(path: str, key: str | int) -> str:
    """The JSON Pointer of a member of the thing at `path`."""
    return f"{path}/{str(key).replace('~', '~0').replace('/', '~1')}"


def visible(text: str) -> str:
    """No line breaks, control characters or broken Unicode: each shown by its code."""
    return "".join(c if c.isprintable() else ascii(c)[1:-1] for c in text)
