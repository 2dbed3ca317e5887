"""The arrows between the parts of the house, read from their imports, and the rule about the clock."""

import ast
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent
APPS = ("portfolio", "inspections", "notifications")
PURE = (
    "portfolio.law",
    "inspections.limits",
    "inspections.dating",
    "inspections.paperwork",
    "inspections.catalogue",
    "inspections.urgency",
    "inspections.cautions",
)
"""No Django, no clock, nothing stored. They may use the standard library, and those of `inspections` each other and the
law."""
SWITCHBOARDS = ("portfolio.settings", "portfolio.urls")
"""Where every part is plugged in; they are no part of the order."""
LEAF = ("notifications.outbox", "notifications.models")
"""What any app may call to have a message sent; it knows none of its callers."""
NOT_FROM = {
    "portfolio": ("inspections", "notifications"),
    "inspections": ("notifications",),
    "notifications.outbox": ("portfolio", "inspections"),
    "notifications.models": ("portfolio", "inspections"),
}
CLOCK = "portfolio.clock"
CLOCK_READS = {"today", "now", "utcnow", "localdate", "localtime", "time", "time_ns"}
CLOCK_MODULES = {"datetime", "django.utils.timezone", "time"}
CLOCK_OWNERS = {"date", "datetime", "timezone", "time", "dt"}


def inside(module: str, package: str) -> bool:
    return module == package or module.startswith(f"{package}.")


def modules() -> Iterator[tuple[str, str]]:
    """Each module's dotted name and its source."""
    for app in APPS:
        for path in sorted((ROOT / app).rglob("*.py")):
            name = ".".join(path.relative_to(ROOT).with_suffix("").parts).removesuffix(".__init__")
            yield name, path.read_text(encoding="utf-8")


def imports(module: str, source: str) -> Iterator[str]:
    """Every module that this one imports, wherever in its text; `from a import b` counts as `a.b` too."""
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            base = node.module or ""
            if node.level:
                parents = module.split(".")[: -node.level]
                base = ".".join([*parents, base]).rstrip(".")
            yield from (f"{base}.{alias.name}" for alias in node.names)


def pure_for(package: str) -> tuple[str, ...]:
    """Whose modules a pure part may use: the law only its own."""
    return PURE[:1] if package == PURE[0] else PURE


def arrow_faults(module: str, source: str) -> list[str]:
    """What this module imports against the order."""
    if module in SWITCHBOARDS:
        return []
    found = set(imports(module, source))
    faults = []
    for package in filter(lambda package: inside(module, package), PURE):
        foreign = {
            name
            for name in found
            if name.split(".")[0] not in sys.stdlib_module_names
            and not any(inside(name, pure) for pure in pure_for(package))
        }
        faults += [f"{module} imports {name}: {package} is to stay pure" for name in foreign]
    for part, forbidden in NOT_FROM.items():
        if inside(module, part):
            backwards = {
                name
                for name in found
                if any(inside(name, app) for app in forbidden)
                and not any(inside(name, leaf) for leaf in (*LEAF[:1], CLOCK))
            }
            faults += [f"{module} imports {name}, against the arrows" for name in backwards]
    return sorted(faults)


def clock_faults(module: str, source: str) -> list[str]:
    """Where this module reads the clock by itself or lets a field do so."""
    faults = []
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.Attribute) and node.attr in CLOCK_READS:
            if ast.unparse(node.value).split(".")[-1] in CLOCK_OWNERS:
                faults.append(f"{module}:{node.lineno}: {ast.unparse(node)}")
        elif isinstance(node, ast.ImportFrom) and node.module in CLOCK_MODULES - {"datetime"}:
            taken = {alias.name for alias in node.names} & CLOCK_READS
            faults += [f"{module}:{node.lineno}: from {node.module} import {name}" for name in sorted(taken)]
        elif isinstance(node, ast.keyword) and node.arg in {"auto_now", "auto_now_add"}:
            faults.append(f"{module}:{node.value.lineno}: {node.arg}")
        elif isinstance(node, ast.ImportFrom) and node.module == "django.db.models.functions":
            faults += [f"{module}:{node.lineno}: Now" for alias in node.names if alias.name == "Now"]
    return faults


def test_modules_follow_the_arrows() -> None:
    assert [fault for name, source in modules() for fault in arrow_faults(name, source)] == []


@pytest.mark.parametrize(
    ("module", "source", "wrong"),
    [
        ("portfolio.law.dates", "import datetime, tomllib\nfrom portfolio.law import model", 0),
        ("portfolio.law.dates", "from django.db import models", 1),
        ("portfolio.law.dates", "from portfolio import clock", 1),
        ("inspections.limits.loops", "def f():\n    import inspections.models", 1),
        ("inspections.urgency", "from portfolio.law.dates import within_days_of", 0),
        (
            "inspections.cautions",
            "from inspections.catalogue import typical\nfrom inspections import words",
            1,
        ),
        ("inspections.urgency", "from portfolio import words", 1),
        ("portfolio.law.policy", "from inspections.urgency import PRACTICE_DAYS", 2),
        ("portfolio.gate", "from portfolio import law\nfrom notifications import outbox", 0),
        ("portfolio.gate", "from inspections.models import Defect", 1),
        ("portfolio.gate", "from notifications.reminders import due", 1),
        ("portfolio.settings", "import inspections", 0),
        (
            "inspections.services.defects",
            "from portfolio import gate\nfrom notifications.outbox import enqueue",
            0,
        ),
        ("inspections.services.defects", "import notifications.emails", 1),
        (
            "notifications.outbox",
            "from portfolio.clock import Moment\nfrom notifications.models import Message",
            0,
        ),
        ("notifications.outbox", "from portfolio.models import Unit", 1),
        ("notifications.outbox", "from ..inspections import facts", 1),
        ("notifications.reminders", "import portfolio.selectors, inspections.selectors", 0),
    ],
)
def test_arrow_check_tells_right_from_wrong(module: str, source: str, wrong: int) -> None:
    assert len(arrow_faults(module, source)) == wrong


def test_only_the_clock_module_reads_the_clock() -> None:
    read = [module for module in modules() if module[0] != CLOCK and ".migrations." not in module[0]]
    assert [fault for name, source in read for fault in clock_faults(name, source)] == []


@pytest.mark.parametrize(
    "source",
    [
        "from datetime import date\nday = date.today()",
        "import datetime\nat = datetime.datetime.now(datetime.UTC)",
        "from django.utils import timezone\nfield(default=timezone.now)",
        "from django.utils.timezone import now\nnow()",
        "import time\ntime.time()",
        "from time import time",
        "models.DateTimeField(auto_now_add=True)",
        "from django.db.models.functions import Now",
    ],
)
def test_clock_check_finds_each_way_of_reading_it(source: str) -> None:
    assert len(clock_faults("portfolio.somewhere", source)) == 1


@pytest.mark.parametrize(
    "source", ["from portfolio import clock\nclock.today()", "import time\ntime.sleep(1)\ntime.monotonic()"]
)
def test_clock_check_leaves_the_rest_alone(source: str) -> None:
    assert clock_faults("portfolio.somewhere", source) == []


def test_templates_do_not_read_the_clock() -> None:
    templates = (ROOT / "templates").rglob("*.*")
    assert [path.name for path in templates if "{% now" in path.read_text(encoding="utf-8")] == []


def test_modules_stay_short_enough_to_read() -> None:
    long = {name: lines for name, source in modules() if (lines := source.count("\n")) > 350}
    assert {name for name in long if ".migrations." not in name} == set()
