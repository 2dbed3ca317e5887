"""The programs of the demonstration: what each is started with, and how it shows that it is ready."""

import http
import http.client
import socket
import sys
from contextlib import closing

from django.conf import settings

from portfolio.demo.supervisor import Program


def free_port() -> int:
    """A port on this machine that nothing listens on at the moment."""
    with closing(socket.socket()) as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


def redis() -> Program:
    path = settings.VAR / "redis.sock"
    path.unlink(missing_ok=True)
    options = {
        "port": "0",
        "unixsocket": str(path),
        "unixsocketperm": "700",
        "save": "",
        "appendonly": "no",
        "dir": str(settings.VAR),
        "daemonize": "no",
    }
    argv = ["redis-server", *(word for key, value in options.items() for word in (f"--{key}", value))]
    return Program("redis", argv, lambda: _answers(socket.AF_UNIX, str(path)))


def post_office(port: int) -> Program:
    argv = [sys.executable, "-m", "portfolio.demo.mailsink", str(settings.DEMO_MAIL), str(port)]
    return Program("mail", argv, lambda: _answers(socket.AF_INET, ("127.0.0.1", port)))


def tasks() -> tuple[Program, Program]:
    """The worker runs a task in its own process, so that a kill takes worker and task together."""
    folder = settings.VAR / "beat"
    folder.mkdir(exist_ok=True)
    celery = [sys.executable, "-m", "celery", "-A", "portfolio"]
    quiet = ["--without-gossip", "--without-mingle"]
    return (
        Program("worker", [*celery, "worker", "--pool", "solo", "--loglevel", "INFO", *quiet]),
        Program("beat", [*celery, "beat", "--schedule", str(folder / "schedule"), "--pidfile", ""]),
    )


def web(host: str, port: int) -> Program:
    argv = [sys.executable, "-m", "gunicorn", "portfolio.wsgi", "--bind", f"{host}:{port}"]
    argv += ["--workers", "2", "--threads", "4", "--graceful-timeout", "5", "--no-control-socket"]
    return Program("web", argv, lambda: _serves_pages(host, port))


def _answers(family: socket.AddressFamily, address: tuple[str, int] | str) -> bool:
    with closing(socket.socket(family)) as probe:
        probe.settimeout(1)
        return probe.connect_ex(address) == 0


def _serves_pages(host: str, port: int) -> bool:
    """Whether the log-in page comes whole: the port answers long before that."""
    connection = http.client.HTTPConnection(host, port, timeout=30)
    try:
        connection.request("GET", "/account/login/")
        return connection.getresponse().status == http.HTTPStatus.OK
    except OSError:
        return False
    finally:
        connection.close()
