"""What README and DEVELOPERS name is there."""

import io
import re
from pathlib import Path

import pytest
from django.conf import settings
from django.core.management import call_command, get_commands

ROOT = Path(settings.BASE_DIR)
GUIDES = ("README.md", "DEVELOPERS.md")


def text_of(guide: str) -> str:
    return (ROOT / guide).read_text(encoding="utf-8")


def found(name: str) -> bool:
    """Is there such a path, from the root or from somewhere inside the main package?"""
    return (ROOT / name).exists() or any((ROOT / "portfolio").rglob(name.strip("/")))


@pytest.mark.parametrize("guide", GUIDES)
def test_every_path_named_in_a_guide_exists(guide: str) -> None:
    named = set(re.findall(r"`([\w./-]+(?:/|\.(?:py|toml|json|md)))`", text_of(guide)))
    named |= set(re.findall(r"\b(?:tests|fixtures|portfolio)/[\w./-]+\w", text_of(guide)))
    assert len(named) > 3
    made_by_running = {"var/"}
    missing = [name for name in named - made_by_running if not found(name)]
    assert missing == []


@pytest.mark.parametrize("guide", GUIDES)
def test_every_management_command_named_in_a_guide_exists(guide: str) -> None:
    named = set(re.findall(r"\./run manage (\w+)", text_of(guide)))
    assert named
    assert named <= set(get_commands())


def test_every_variable_in_the_readme_is_read_by_the_settings() -> None:
    named = set(
        re.findall(r"\b(?:SNECK_\w+|DATABASE_URL|REDIS_URL|DJANGO_SECRET_KEY)\b", text_of("README.md"))
    )
    read = set(
        re.findall(r'env(?:\.\w+)?\(\s*"(\w+)"', (ROOT / "portfolio/settings.py").read_text(encoding="utf-8"))
    )
    assert "SNECK_HOSTS" in named
    assert named - read == set()


@pytest.mark.parametrize(
    ("on", "row"),
    [
        ("2027-05-20", "cooper-yard-5 until 2027-05-20 until 2030-09-09"),
        ("2027-05-21", "cooper-yard-5 no until 2030-09-09 An appliance's gas check is out of date."),
    ],
)
def test_the_answer_shown_in_the_readme_is_the_answer_given(on: str, row: str) -> None:
    out = io.StringIO()
    call_command("standing", str(ROOT / "fixtures/one-flat.json"), on=on, stdout=out)
    assert row in [" ".join(line.split()) for line in out.getvalue().splitlines()]


def test_the_readme_shows_that_answer() -> None:
    text = text_of("README.md")
    shown = [" ".join(line.split()) for line in text.splitlines()]
    assert "cooper-yard-5 no until 2030-09-09 An appliance's gas check is out of date." in shown
    assert "fixtures/one-flat.json --on 2027-05-21" in text
    assert "*until 2027-05-20*" in text


def test_the_emergency_numbers_are_in_the_readme() -> None:
    assert all(number in text_of("README.md") for number in ("0800 111 999", "**105**", "**999**"))
