"""`./run` from outside: a copy of the script with stand-ins for the system's programs around it."""

import hashlib
import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent
NEEDED = ("bash", "cat", "cut", "dirname", "env", "grep", "mkdir", "rm", "sha256sum")
FAKE_DPKG = """#!/bin/bash
case $2 in
    libpangoft2-1.0-0 | libharfbuzz-subset0 | fonts-dejavu-core) echo "Status: install ok installed" ;;
    *) exit 1 ;;
esac
"""
FAKE_PYTHON = '#!/bin/bash\n[[ $1 == -c ]] || echo "demo=${SNECK_DEMO:-} python $*"\n'


def script(path: Path, text: str) -> None:
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_text(text)
    path.chmod(0o755)


@pytest.fixture
def house(tmp_path: Path) -> Path:
    """A project folder with `run` in it, synced, on a machine with Python and Redis but no root."""
    folder = tmp_path / "house"
    folder.mkdir()
    shutil.copy(ROOT / "run", folder)
    (folder / "uv.lock").write_text("lock 1\n")
    (folder / "pyproject.toml").write_text("project\n")
    script(folder / ".venv" / "bin" / "python", FAKE_PYTHON)
    stamp(folder, "")
    tools = tmp_path / "bin"
    tools.mkdir()
    for name in NEEDED:
        found = shutil.which(name)
        assert found
        (tools / name).symlink_to(found)
    (tools / "python3").symlink_to(Path(sys.base_prefix) / "bin" / "python3")
    script(tools / "id", "#!/bin/bash\necho 1000\n")
    script(tools / "sudo", "#!/bin/bash\nexit 1\n")
    script(tools / "apt-get", f'#!/bin/bash\necho "$*" >>{tmp_path}/apt-get\n')
    script(tools / "dpkg", FAKE_DPKG)
    script(tools / "redis-server", "#!/bin/bash\n")
    return folder


def stamp(house: Path, groups: str) -> None:
    both = (house / "uv.lock").read_bytes() + (house / "pyproject.toml").read_bytes()
    (house / ".venv" / "sneck-synced").write_text(f"{hashlib.sha256(both).hexdigest()}\n{groups}\n")


def run(house: Path, *arguments: str) -> subprocess.CompletedProcess[str]:
    environment = {"PATH": str(house.parent / "bin"), "HOME": str(house), "SSL_CERT_FILE": "/dev/null"}
    return subprocess.run(
        ["bash", "run", *arguments],
        cwd=house,
        env=environment,
        capture_output=True,
        text=True,
        timeout=60,
        check=False,
    )


def fake_uv(house: Path) -> Path:
    """A `uv` that writes down what it is asked."""
    calls = house / "uv-calls"
    script(house / ".tools/uv-venv/bin/uv", f'#!/bin/bash\n[[ $1 == --version ]] || echo "$*" >>{calls}\n')
    return calls


@pytest.mark.parametrize("name", ["run", ".ci/run", "tests/with_postgres"])
def test_scripts_are_sound_bash_and_can_be_started(name: str) -> None:
    assert subprocess.run(["bash", "-n", ROOT / name], check=False).returncode == 0
    assert os.access(ROOT / name, os.X_OK)


def test_run_alone_tells_what_it_can_do(house: Path) -> None:
    answer = run(house)
    assert answer.returncode == 0
    assert all(f"./run {job}" in answer.stdout for job in ("demo", "test", "lint", "manage"))


def test_unknown_job_is_refused(house: Path) -> None:
    answer = run(house, "dmeo")
    assert answer.returncode == 2
    assert 'no job called "dmeo"' in answer.stderr


def test_ready_house_starts_at_once_without_fetching_anything(house: Path) -> None:
    answer = run(house, "demo", "--port", "8001")
    assert (answer.returncode, answer.stdout) == (0, "demo=1 python manage.py demo --port 8001\n")
    assert answer.stderr == ""


def test_manage_passes_its_words_on_unchanged(house: Path) -> None:
    assert (
        run(house, "manage", "standing", "my homes.json").stdout
        == "demo= python manage.py standing my homes.json\n"
    )


def test_missing_package_without_root_prints_the_line_to_type(house: Path) -> None:
    (house.parent / "bin" / "redis-server").unlink()
    answer = run(house, "demo")
    assert answer.returncode == 1
    line = "apt-get update && apt-get install -y --no-install-recommends redis-server"
    assert f"  sudo sh -c '{line}'" in answer.stderr
    assert answer.stdout == ""
    assert not (house.parent / "apt-get").exists()


def test_missing_package_is_installed_once_when_sudo_asks_nothing(house: Path) -> None:
    tools, asked = house.parent / "bin", house.parent / "sudo-asked"
    (tools / "redis-server").unlink()
    install = f'echo "${{@: -2}}" >>{asked}; cp {tools}/apt-get {tools}/redis-server'
    script(tools / "sudo", f'#!/bin/bash\n[[ "$*" == "-n true" ]] || {{ {install}; }}\n')
    (tools / "cp").symlink_to(shutil.which("cp") or "/bin/cp")
    answer = run(house, "demo")
    assert (answer.returncode, answer.stdout) == (0, "demo=1 python manage.py demo\n")
    assert asked.read_text() == "install redis-server\n"
    assert run(house, "demo").returncode == 0
    assert asked.read_text() == "install redis-server\n"


def test_package_that_does_not_help_is_reported(house: Path) -> None:
    (house.parent / "bin" / "redis-server").unlink()
    script(house.parent / "bin" / "sudo", "#!/bin/bash\n")
    answer = run(house, "demo")
    assert answer.returncode == 1
    assert "redis-server is installed but does not serve here" in answer.stderr


def test_machine_without_debian_packages_is_told_what_is_missing(house: Path) -> None:
    for name in ("redis-server", "apt-get"):
        (house.parent / "bin" / name).unlink()
    answer = run(house, "demo")
    assert answer.returncode == 1
    assert "there is no apt-get here to install them with: redis-server" in answer.stderr


def test_python_that_answers_nothing_is_passed_over(house: Path) -> None:
    """A version manager leaves stand-ins on PATH that fail when called."""
    tools = house.parent / "bin"
    (tools / "python3").rename(tools / "python3.11")
    script(tools / "python3", "#!/bin/bash\nexit 127\n")
    assert run(house, "demo").returncode == 0


def test_changed_lock_is_synced_and_then_no_more(house: Path) -> None:
    calls = fake_uv(house)
    (house / "uv.lock").write_text("lock 2\n")
    assert run(house, "demo").returncode == 0
    assert run(house, "demo").returncode == 0
    assert calls.read_text() == "sync --quiet --locked\n"


def test_groups_of_earlier_jobs_are_kept(house: Path) -> None:
    calls = fake_uv(house)
    stamp(house, "lint")
    assert run(house, "test", "-k", "nothing").stdout == "demo= python -m pytest -k nothing\n"
    assert calls.read_text() == "sync --quiet --locked --group test --group lint --compile-bytecode\n"
    assert run(house, "test", "-k", "nothing").stderr == ""
    assert (house / ".venv/sneck-synced").read_text().splitlines()[1] == "test lint"


def test_failed_sync_is_not_taken_for_done(house: Path) -> None:
    script(house / ".tools/uv-venv/bin/uv", "#!/bin/bash\n[[ $1 == --version ]]\n")
    (house / "uv.lock").write_text("lock 2\n")
    assert run(house, "demo").returncode == 1
    assert "could not install the locked packages" in run(house, "demo").stderr


REPORT = '<testsuites><testsuite tests="{}" failures="{}" errors="{}" skipped="{}"/></testsuites>'


@pytest.mark.parametrize(
    ("counts", "line", "status"),
    [
        ([(3, 0, 0, 0), (2, 0, 0, 0)], "total: 5 passed, 0 failed, 0 skipped", 0),
        ([(3, 0, 0, 0), (2, 1, 1, 0)], "total: 3 passed, 2 failed, 0 skipped", 1),
        ([(3, 0, 0, 1)], "total: 2 passed, 0 failed, 1 skipped", 1),
        ([(0, 0, 0, 0)], "total: 0 passed, 0 failed, 0 skipped", 1),
    ],
)
def test_totals_pass_only_when_all_tests_did(
    tmp_path: Path, counts: list[tuple[int, int, int, int]], line: str, status: int
) -> None:
    reports = []
    for number, count in enumerate(counts):
        reports.append(tmp_path / f"{number}-Somewhere.xml")
        reports[-1].write_text(REPORT.format(*count))
    answer = subprocess.run(
        [sys.executable, ROOT / "tests" / "totals.py", *reports], capture_output=True, text=True, check=False
    )
    assert (answer.stdout.splitlines()[-1], answer.returncode) == (line, status)
