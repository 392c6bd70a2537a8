"""A check of the whole project must not pass because tests that can not run are left out."""

import shutil
import subprocess
from pathlib import Path

import pytest

from tests.optimizer import postgres_server
from tests.optimizer.reports.page import conftest as page
from tests.plant.cuda import host_build

CHECK = Path(__file__).parents[1] / ".ci" / "run"


@pytest.fixture
def bare_path(tmp_path, monkeypatch):
    """Leave nothing on PATH but a folder of the test's own."""
    folder = tmp_path / "programs"
    folder.mkdir()
    monkeypatch.setenv("PATH", str(folder))
    monkeypatch.setattr(postgres_server, "DEBIAN", tmp_path)
    return folder


def start_postgres():
    with postgres_server.postgres_server():
        pass


def start_browser():
    next(page.browser.__wrapped__())


@pytest.mark.parametrize("start", [start_postgres, start_browser, host_build.compiler])
def test_a_missing_program_fails_where_ci_is_set_and_skips_elsewhere(bare_path, monkeypatch, start):
    ended = []
    for where in ("true", ""):
        monkeypatch.setenv("CI", where)
        with pytest.raises((pytest.fail.Exception, pytest.skip.Exception)) as found:
            start()
        ended.append(found.type)

    assert ended == [pytest.fail.Exception, pytest.skip.Exception]


@pytest.mark.parametrize("installer", ["absent", "failing"])
def test_the_check_ends_when_a_program_can_not_be_installed(bare_path, monkeypatch, installer):
    bash = shutil.which("bash", path="/bin:/usr/bin")
    for program in ("dirname", "grep"):
        (bare_path / program).symlink_to(shutil.which(program, path="/bin:/usr/bin"))
    if installer == "failing":
        (bare_path / "apt-get").write_text(f"#!{bash}\nexit 100\n")
        (bare_path / "apt-get").chmod(0o755)

    ended = subprocess.run([bash, CHECK], capture_output=True, text=True, check=False)

    assert ended.returncode == 1
    assert "need chromium chromium-driver" in ended.stderr
    assert "could not be installed here" in ended.stderr
