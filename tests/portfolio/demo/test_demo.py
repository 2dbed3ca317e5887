"""`manage.py demo` as a whole: real servers, looked at and killed from outside."""

import os
import re
import signal
import smtplib
import subprocess
import sys
import urllib.request
from collections.abc import Iterator
from pathlib import Path

import pytest

from portfolio.demo import mail, programs, scenario
from tests.processes import descendants, is_running, wait_until

ROOT = Path(__file__).resolve().parents[3]
pytestmark = pytest.mark.slow


class Demo:
    """A running demonstration with its files in a folder of its own."""

    def __init__(self, folder: Path) -> None:
        self.folder, self.port = folder, programs.free_port()
        self.start()

    def start(self) -> None:
        argv = command("--port", str(self.port))
        with (self.folder / "out").open("w") as out:
            self.process = subprocess.Popen(argv, env=environment(self.folder), stdout=out, stderr=out)
        wait_until(self.ready, 300)

    def said(self) -> str:
        return (self.folder / "out").read_text()

    def ready(self) -> bool:
        assert self.process.poll() is None, self.said()
        return "Stop it with Ctrl-C" in self.said()

    def page(self, path: str) -> int:
        try:
            with urllib.request.urlopen(f"http://127.0.0.1:{self.port}{path}", timeout=10) as answer:
                return int(answer.status)
        except OSError:
            return 0

    def child(self, words: str) -> int:
        """The direct child whose command line has these words; 0 when there is none now."""
        for pid in descendants(self.process.pid):
            line = Path(f"/proc/{pid}/cmdline").read_bytes().replace(b"\0", b" ").decode()
            if words in line and Path(f"/proc/{pid}/stat").read_text().split()[3] == str(self.process.pid):
                return pid
        return 0


def command(*arguments: str) -> list[str]:
    return [sys.executable, str(ROOT / "manage.py"), "demo", *arguments]


def environment(folder: Path) -> dict[str, str]:
    kept = {name: value for name, value in os.environ.items() if name not in {"DATABASE_URL", "SNECK_VAR"}}
    return kept | {"SNECK_VAR": str(folder)}


def refusal(folder: Path, *arguments: str, **extra: str) -> str:
    """What a demonstration that cannot start says."""
    answer = subprocess.run(
        command(*arguments),
        env=environment(folder) | extra,
        capture_output=True,
        text=True,
        check=False,
        timeout=60,
    )
    assert answer.returncode == 1, answer.stdout
    return answer.stderr


@pytest.fixture(scope="module")
def demo(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Demo]:
    demo = Demo(tmp_path_factory.mktemp("demo"))
    yield demo
    demo.process.terminate()
    demo.process.wait(30)


def test_demo_prints_where_it_is_and_a_login_for_each_role(demo: Demo) -> None:
    assert f"http://localhost:{demo.port}/" in demo.said()
    for role in {role for role, _, _ in scenario.logins()}:
        assert re.search(rf"^  {role} +\S+@example\.org +\S", demo.said(), re.MULTILINE)
    assert demo.page("/account/login/") == 200


def test_demo_keeps_its_key_to_itself_and_its_queue_off_the_network(demo: Demo) -> None:
    assert (demo.folder / "secret-key").stat().st_mode & 0o777 == 0o600
    assert (demo.folder / "redis.sock").is_socket()
    redis = Path(f"/proc/{demo.child('redis-server')}/cmdline").read_text()
    assert redis.startswith(f"redis-server unixsocket:{demo.folder}/redis.sock")


def test_mail_sent_in_the_demo_ends_in_its_folder(demo: Demo) -> None:
    port = Path(f"/proc/{demo.child('mailsink')}/cmdline").read_text().split("\0")[-2]
    with smtplib.SMTP("127.0.0.1", int(port)) as client:
        client.sendmail("a@example.org", ["b@example.org"], "Subject: Kept\r\n\r\nText")
    assert "Kept" in {
        mail.read(demo.folder / "mail", name).subject for name in mail.names(demo.folder / "mail")
    }


LEAVE = """
from django.db import transaction
from notifications import outbox
from portfolio import clock
from portfolio.models import Agency
with transaction.atomic():
    outbox.put(outbox.Draft("test:1", "test", "A test.", Agency.objects.order_by("pk").first().pk, "Ann Reader",
        "ann@example.org", "Left with the outbox", "Text"), at=clock.moment().at)
"""


def test_a_message_left_with_the_outbox_is_in_the_post_office_within_seconds(demo: Demo) -> None:
    port = Path(f"/proc/{demo.child('mailsink')}/cmdline").read_text().split("\0")[-2]
    told = environment(demo.folder) | {"SNECK_DEMO": "1", "SNECK_SMTP_PORT": port}
    argv = [sys.executable, str(ROOT / "manage.py"), "shell", "--verbosity", "0", "-c", LEAVE]
    subprocess.run(argv, env=told, check=True, timeout=60)
    folder = demo.folder / "mail"

    def came() -> bool:
        return "Left with the outbox" in {mail.read(folder, name).subject for name in mail.names(folder)}

    wait_until(came, 20)


@pytest.mark.parametrize("words", ["gunicorn", "redis-server", "celery -A portfolio worker", "mailsink"])
def test_killed_program_comes_back(demo: Demo, words: str) -> None:
    killed = demo.child(words)
    os.kill(killed, signal.SIGKILL)
    wait_until(lambda: demo.child(words) not in {0, killed}, 30)
    wait_until(lambda: demo.page("/account/login/") == 200, 30)


def test_second_demo_on_the_same_files_is_refused(demo: Demo) -> None:
    assert "A demonstration runs from" in refusal(demo.folder)


def test_port_in_use_is_told_with_another_to_try(demo: Demo, tmp_path: Path) -> None:
    said = refusal(tmp_path, "--port", str(demo.port))
    assert f"Port {demo.port} on 127.0.0.1 cannot be had" in said
    assert f"./run demo --port {demo.port + 1}" in said


def test_demo_does_not_touch_a_database_that_is_not_its_own(tmp_path: Path) -> None:
    said = refusal(tmp_path, DATABASE_URL=f"sqlite:///{tmp_path}/mine.sqlite3")
    assert "unset DATABASE_URL" in said
    assert list(tmp_path.glob("*.sqlite3")) == []


def test_missing_queue_server_is_told_with_the_line_to_type(tmp_path: Path) -> None:
    assert "apt-get install -y --no-install-recommends redis-server" in refusal(tmp_path, PATH=str(tmp_path))


@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGKILL])
def test_nothing_is_left_when_it_stops_and_it_goes_on_where_it_was(
    demo: Demo, number: signal.Signals
) -> None:
    # The queue, the post office, worker, beat, web and its two workers.
    wait_until(lambda: len(descendants(demo.process.pid)) >= 7)
    before = descendants(demo.process.pid)
    demo.process.send_signal(number)
    demo.process.wait(30)
    wait_until(lambda: not any(map(is_running, before)), 20)
    demo.start()
    assert "Inventing some homes" not in demo.said()
