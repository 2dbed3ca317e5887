"""`manage.py bench_standing`: how fast the law answers, over many invented homes, and where its time goes."""

import resource
import sys
import time
from argparse import ArgumentParser, ArgumentTypeError
from collections import Counter
from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor
from cProfile import Profile
from dataclasses import dataclass, field, replace
from datetime import date
from functools import partial
from pathlib import Path
from types import CodeType

from django.core.management import BaseCommand

from portfolio import clock
from portfolio.exchange.generate import homes
from portfolio.law.dates import AsOn
from portfolio.law.evaluate import evaluate
from portfolio.law.home import Home
from portfolio.law.lawbook import Finding, Lawbook, Topic, Voice
from portfolio.law.loader import load

CHUNK = 1_000
"""Homes invented, then answered for, at a time; so that memory does not grow with their number."""
HEAVIEST = 12
"""Functions that a profile names."""
_PACKAGE = Path(__file__).parents[2]


class Command(BaseCommand):
    help = (
        "Invents homes of all four nations, answers for each if it may be let and sold today, and says how long"
        " it took."
    )
    requires_system_checks = []

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--units", type=_at_least_one, default=100_000, help="how many homes (100000)")
        parser.add_argument("--processes", type=_at_least_one, default=1, help="how many processes (1)")
        parser.add_argument(
            "--profile", action="store_true", help="first say where the time goes, in two more rounds"
        )

    def handle(self, *, units: int, processes: int, profile: bool, **options: object) -> None:
        day = clock.today()
        for line in _profiled(units, day) if profile else ():
            self.stdout.write(line)
        began = time.perf_counter()
        counts = _chunks(load(), units, day) if processes == 1 else _shared(units, day, processes)
        whole = time.perf_counter() - began
        asking = counts.pop("nanoseconds") / 1e9
        self.stdout.write(f"{units} homes in {whole:.1f} s, inventing them included")
        self.stdout.write(f"answers: {asking:.1f} s of processor time, {asking / units * 1e6:.0f} µs each")
        self.stdout.write(f"peak memory: {_peak_mb():.0f} MB in the largest process")
        for name in sorted(counts):
            self.stdout.write(f"{name}: {counts[name]}")


def _at_least_one(text: str) -> int:
    if not text.isdecimal() or int(text) < 1:
        raise ArgumentTypeError("write a whole number of at least 1")
    return int(text)


def _chunk(
    first: int, *, book: Lawbook, end: int, day: date, profiler: Profile | None = None
) -> Counter[str]:
    """Answers for homes `first` up to the end of its chunk: counts, and the time the answers took."""
    invented = list(homes(min(CHUNK, end - first), around=day, first=first))
    counts: Counter[str] = Counter()
    if profiler:
        profiler.enable()
    began = time.process_time_ns()
    for building, unit in invented:
        standing = evaluate(book, building, unit, day)
        counts["let clear" if standing.let.clear else "let barred"] += 1
        counts["sale clear" if standing.sale.clear else "sale barred"] += 1
    counts["nanoseconds"] += time.process_time_ns() - began
    if profiler:
        profiler.disable()
    return counts


def _chunks(book: Lawbook, units: int, day: date, profiler: Profile | None = None) -> Counter[str]:
    total: Counter[str] = Counter()
    for first in range(0, units, CHUNK):
        total.update(_chunk(first, book=book, end=units, day=day, profiler=profiler))
    return total


def _chunk_of_own(first: int, *, end: int, day: date) -> Counter[str]:
    """For another process, which reads the law for itself."""
    return _chunk(first, book=load(), end=end, day=day)


def _shared(units: int, day: date, processes: int) -> Counter[str]:
    total: Counter[str] = Counter()
    with ProcessPoolExecutor(processes) as pool:
        for counts in pool.map(partial(_chunk_of_own, end=units, day=day), range(0, units, CHUNK)):
            total.update(counts)
    return total


def _profiled(units: int, day: date) -> Iterator[str]:
    """The heaviest functions in one round, the share of each requirement in another, watched by clocks alone."""
    profiler = Profile()
    _chunks(load(), units, day, profiler)
    yield f"the {HEAVIEST} heaviest functions, each without those it calls (the watching counts too)"
    yield from _functions(profiler)
    clocks = Clocks()
    whole = _chunks(clocks.book(load()), units, day)["nanoseconds"]
    yield "requirements, each with all that it calls: share, time and askings for one home, whose rule"
    yield from clocks.lines(units, whole)


def _functions(profiler: Profile) -> Iterator[str]:
    entries = profiler.getstats()
    whole = sum(entry.inlinetime for entry in entries)
    for entry in sorted(entries, key=lambda one: one.inlinetime, reverse=True)[:HEAVIEST]:
        yield f"{entry.inlinetime / whole:8.1%}  {entry.callcount:10}  {_where(entry.code)}"


def _where(code: CodeType | str) -> str:
    """A function's file, line and name; built-in ones have only a name."""
    if isinstance(code, str):
        return code
    file = Path(code.co_filename)
    near = file.relative_to(_PACKAGE) if file.is_relative_to(_PACKAGE) else file.name
    return f"{near}:{code.co_firstlineno} {code.co_qualname}"


@dataclass
class Clocks:
    """How many nanoseconds of processor time the rules of each topic took, and how often they were asked."""

    nanoseconds: Counter[str] = field(default_factory=Counter)
    calls: Counter[str] = field(default_factory=Counter)

    def book(self, book: Lawbook) -> Lawbook:
        """The same law with a clock held to every rule."""
        voices = {nation: tuple(map(self._timed, voices)) for nation, voices in book.voices.items()}
        return replace(book, voices=voices)

    def _timed(self, voice: Voice) -> Voice:
        name = f"{voice.topic.id} {voice.topic.rule if voice.verdict else voice.topic.duty_rule}"

        def rule(home: Home, law: Topic, on: AsOn) -> Finding:
            began = time.process_time_ns()
            found = voice.rule(home, law, on)
            self.nanoseconds[name] += time.process_time_ns() - began
            self.calls[name] += 1
            return found

        return voice._replace(rule=rule)

    def lines(self, units: int, whole: int) -> Iterator[str]:
        """A line for each rule, the heaviest first, and one for what is not in any."""
        for name, spent in self.nanoseconds.most_common():
            yield f"{spent / whole:8.1%}{spent / units / 1000:8.1f} µs{self.calls[name] / units:6.2f}  {name}"
        left = whole - self.nanoseconds.total()
        yield f"{left / whole:8.1%}{left / units / 1000:8.1f} µs        the rest of the answer, and the clocks"


def _peak_mb() -> float:
    """Largest resident size of this process or of any of its children, in megabytes."""
    per_mb = 1024 * 1024 if sys.platform == "darwin" else 1024  # kilobytes, but bytes on macOS
    return (
        max(resource.getrusage(who).ru_maxrss for who in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN))
        / per_mb
    )
