"""Where rules put themselves so that packs can name them, with what each needs from its pack."""

from collections.abc import Callable, Mapping
from typing import NamedTuple

from ..lawbook import RuleFunction


class Rule(NamedTuple):
    function: RuleFunction
    needs: Mapping[str, type]
    """Values the pack must hold from the day the topic begins, and their types; `list` is a list of words."""
    duties: tuple[str, ...]
    """Short names of the duties it may report; the pack gives each a title."""
    reads: tuple[str, ...]
    """Other topics whose values it reads."""


RULES: dict[str, Rule] = {}


def rule(
    needs: Mapping[str, type], *, duties: tuple[str, ...] = (), reads: tuple[str, ...] = ()
) -> Callable[[RuleFunction], RuleFunction]:
    """Register a rule as `module.function`; see `Rule` for what each argument means."""

    def keep(function: RuleFunction) -> RuleFunction:
        name = f"{function.__module__.rpartition('.')[2]}.{function.__name__}"
        RULES[name] = Rule(function, needs, duties, reads)
        return function

    return keep
