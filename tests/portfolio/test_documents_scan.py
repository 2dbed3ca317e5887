"""A virus scanner, where the site runs one: spoken to over a real socket, and never passed over."""

import io
import socket
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager

import pytest

from portfolio.documents import UploadRefused, accept
from tests.portfolio.test_documents import pdf, picture, upload

BAD = b"% the invented plague"
OK = b"stream: OK\0"


def read_exactly(connection: socket.socket, size: int) -> bytes:
    out = b""
    while len(out) < size:
        more = connection.recv(size - len(out))
        if not more:
            raise EOFError
        out += more
    return out


class Scanner:
    """As clamd speaks: a command, lengths and pieces, an empty piece, then a verdict up to a NUL."""

    def __init__(self, says: Callable[[bytes], bytes | None] | None = None) -> None:
        self.says = says or (lambda content: b"stream: Invented.Plague-1 FOUND\0" if BAD in content else OK)
        self.seen: list[bytes] = []

    def serve(self, listening: socket.socket) -> None:
        while True:
            try:
                connection, _ = listening.accept()
            except OSError:
                return
            with connection:
                try:
                    self.answer(connection)
                except (EOFError, OSError):
                    continue

    def answer(self, connection: socket.socket) -> None:
        assert read_exactly(connection, 10) == b"zINSTREAM\0"
        content = b""
        while length := int.from_bytes(read_exactly(connection, 4)):
            content += read_exactly(connection, length)
        self.seen.append(content)
        verdict = self.says(content)
        if verdict is None:  # it is asked and says nothing
            connection.recv(1)
        else:
            connection.sendall(verdict)


@contextmanager
def running(scanner: Scanner, listening: socket.socket) -> Iterator[Scanner]:
    thread = threading.Thread(target=scanner.serve, args=[listening])
    thread.start()
    try:
        yield scanner
    finally:
        listening.shutdown(socket.SHUT_RDWR)
        listening.close()
        thread.join(5)


@pytest.fixture(params=["path", "port"])
def address(request, tmp_path, settings):
    """A listening socket, and the setting that names it."""
    if request.param == "path":
        listening = socket.socket(socket.AF_UNIX)
        settings.CLAMD = str(tmp_path / "clamd.sock")
        listening.bind(settings.CLAMD)
    else:
        listening = socket.socket()
        listening.bind(("127.0.0.1", 0))
        settings.CLAMD = f"127.0.0.1:{listening.getsockname()[1]}"
    listening.listen()
    settings.CLAMD_SECONDS = 5
    return listening


def test_the_scanner_is_given_every_byte_and_its_word_is_taken(address):
    large = picture("JPEG") + bytes(300_000)
    with running(Scanner(), address) as scanner:
        assert accept(upload(large)).content == large
        with pytest.raises(UploadRefused, match=r"found “Invented.Plague-1”.*not kept"):
            accept(upload(pdf()[:-6] + BAD + b"\n" + pdf()[-6:]))
    assert scanner.seen[0] == large


@pytest.mark.parametrize(
    "verdict",
    [
        b"INSTREAM size limit exceeded. ERROR\0", b"", b"\0", b"stream: OK but not quite\0", b"UNKNOWN COMMAND\0",
        b"OK\0", b"x" * 100_000,
    ],
)  # fmt: skip
def test_anything_but_a_clear_verdict_lets_nothing_through(address, verdict):
    with (
        running(Scanner(lambda content: verdict), address),
        pytest.raises(UploadRefused, match="could not be checked.*Try again"),
    ):
        accept(upload(pdf()))


def test_a_scanner_that_says_nothing_is_not_waited_for_for_ever(address, settings):
    settings.CLAMD_SECONDS = 0.2
    with running(Scanner(lambda content: None), address), pytest.raises(UploadRefused, match="could not be"):
        accept(upload(pdf()))


def test_a_scanner_that_hangs_up_half_way_lets_nothing_through(address):
    class HangsUp(Scanner):
        def answer(self, connection):
            connection.recv(10)

    with running(HangsUp(), address), pytest.raises(UploadRefused, match="could not be checked"):
        accept(upload(picture("JPEG") + bytes(5_000_000)))


@pytest.mark.parametrize(
    "where", ["/nowhere/clamd.sock", "127.0.0.1:1", "[::1]:1", "nonsense", "localhost:x"]
)
def test_a_scanner_that_is_not_there_lets_nothing_through(settings, where):
    settings.CLAMD, settings.CLAMD_SECONDS = where, 1
    with pytest.raises(UploadRefused, match="could not be checked"):
        accept(upload(pdf()))


def test_without_a_scanner_nothing_is_asked(settings):
    settings.CLAMD = ""
    assert accept(upload(pdf()))


def test_what_is_no_file_of_ours_is_refused_without_asking(address):
    with running(Scanner(), address) as scanner, pytest.raises(UploadRefused, match="not a PDF"):
        accept(upload(io.BytesIO(b"<html>").read()))
    assert scanner.seen == []
