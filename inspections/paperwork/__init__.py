"""Which papers a piece of work leaves, whether it has to be notified, who may sign and by when.

Kind of work + place + nation + day -> `Papers`. The data stand in `works.toml` and `notify.toml`. What matters and is
not recorded never turns into a "no". May use the standard library and `portfolio.law`.
"""

from collections.abc import Mapping

from inspections.paperwork.answer import PLACES, Papers, expected, missing
from inspections.paperwork.data import Ask, Work, load

__all__ = ["PLACES", "WORKS", "Ask", "Papers", "Work", "expected", "missing"]

WORKS: Mapping[str, Work] = load().works
"""Every kind of work by its code."""
