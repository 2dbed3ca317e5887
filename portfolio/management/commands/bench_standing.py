"""`manage.py bench_standing`: how fast the law answers, over many invented homes."""

import cProfile
import pstats
import resource
import sys
import time
from argparse import ArgumentParser, ArgumentTypeError
from collections import Counter
from concurrent.futures import ProcessPoolExecutor
from datetime import date
from functools import partial

from django.core.management import BaseCommand

from portfolio import clock
from portfolio.exchange.generate import homes
from portfolio.law.evaluate import evaluate
from portfolio.law.loader import load

CHUNK = 1_000
"""Homes invented, then answered for, at a time; so that memory does not grow with their number."""


class Command(BaseCommand):
    help = (
        "Invents English homes, answers for each if it may be let and sold today, and says how long it took."
    )
    requires_system_checks = []

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--units", type=_at_least_one, default=100_000, help="how many homes (100000)")
        parser.add_argument("--processes", type=_at_least_one, default=1, help="how many processes (1)")
        parser.add_argument("--profile", action="store_true", help="also say where the time goes (1 process)")

    def handle(self, *, units: int, processes: int, profile: bool, **options: object) -> None:
        day = clock.today()
        began = time.perf_counter()
        if profile:
            counts = _profiled(units, day, self.stdout)
        elif processes == 1:
            counts = _chunks(units, day)
        else:
            counts = _shared(units, day, processes)
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


def _chunk(first: int, *, end: int, day: date) -> Counter[str]:
    """Answers for homes `first` up to the end of its chunk: counts, and the time the answers took."""
    book = load()
    invented = list(homes(min(CHUNK, end - first), around=day, first=first))
    counts: Counter[str] = Counter()
    began = time.process_time_ns()
    for building, unit in invented:
        standing = evaluate(book, building, unit, day)
        counts["let clear" if standing.let.clear else "let barred"] += 1
        counts["sale clear" if standing.sale.clear else "sale barred"] += 1
    counts["nanoseconds"] += time.process_time_ns() - began
    return counts


def _chunks(units: int, day: date) -> Counter[str]:
    total: Counter[str] = Counter()
    for first in range(0, units, CHUNK):
        total.update(_chunk(first, end=units, day=day))
    return total


def _shared(units: int, day: date, processes: int) -> Counter[str]:
    total: Counter[str] = Counter()
    with ProcessPoolExecutor(processes) as pool:
        for counts in pool.map(partial(_chunk, end=units, day=day), range(0, units, CHUNK)):
            total.update(counts)
    return total


def _profiled(units: int, day: date, out: object) -> Counter[str]:
    with cProfile.Profile() as profiler:
        counts = _chunks(units, day)
    pstats.Stats(profiler, stream=out).sort_stats("tottime").print_stats(20)  # type: ignore[arg-type]
    return counts


def _peak_mb() -> float:
    """Largest resident size of this process or of any of its children, in megabytes."""
    per_mb = 1024 * 1024 if sys.platform == "darwin" else 1024  # kilobytes, but bytes on macOS
    return (
        max(resource.getrusage(who).ru_maxrss for who in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN))
        / per_mb
    )
