"""Adds up the JUnit reports of several pytest runs: `totals.py REPORT.xml…`; status 1 unless all passed."""

import sys
from pathlib import Path
from xml.etree import ElementTree


def counts(report: Path) -> tuple[int, int, int]:
    """How many tests passed, failed (or broke) and were skipped."""
    suites = ElementTree.parse(report).getroot().iter("testsuite")  # noqa: S314 - pytest wrote it a moment ago
    tests = failed = skipped = 0
    for suite in suites:
        tests += int(suite.get("tests", 0))
        failed += int(suite.get("failures", 0)) + int(suite.get("errors", 0))
        skipped += int(suite.get("skipped", 0))
    return tests - failed - skipped, failed, skipped


def main(reports: list[str]) -> int:
    """A test that was skipped, and a run without tests, count as failures: nothing was shown by them."""
    totals = [0, 0, 0]
    for report in map(Path, reports):
        found = counts(report)
        totals = [total + one for total, one in zip(totals, found, strict=True)]
        print("{}: {} passed, {} failed, {} skipped".format(report.stem.partition("-")[2], *found))
    print("total: {} passed, {} failed, {} skipped".format(*totals))
    return 0 if totals[0] and not totals[1] and not totals[2] else 1


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
