"""What the tests of the commands share."""

import functools
import sys

import pytest

from optimizer.cli.app import app, main
from tests.optimizer.small_study import write_small_study


@pytest.fixture(autouse=True)
def told_nothing_of_stages(monkeypatch):
    """Let no command say what it is at: tests count the lines of errors, on slow machines too."""
    monkeypatch.setattr("optimizer.cli.stages_view._FIRST_S", 3600.0)


@pytest.fixture
def levelgain(monkeypatch, capsys):
    """Return a function that runs the command and gives exit code, output and errors."""

    def run(*arguments):
        monkeypatch.setattr(sys, "argv", ["levelgain", *map(str, arguments)])
        with pytest.raises(SystemExit) as ended:
            main()
        said = capsys.readouterr()
        return ended.value.code or 0, said.out, said.err

    return run


@pytest.fixture
def levelgain_log(levelgain):
    """Return the same for `levelgain log`."""
    return functools.partial(levelgain, "log")


@pytest.fixture(scope="session")
def finished(tmp_path_factory):
    """Return the folder of a small study that was run to its end; to be read only."""
    folder = write_small_study(tmp_path_factory.mktemp("studies") / "small")
    app(["run", str(folder)], standalone_mode=False)
    return folder
