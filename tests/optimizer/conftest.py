"""What the tests of the commands share."""

import contextlib
import functools
import io
import shutil
import sys

import pytest

from optimizer.cli.app import app, main
from optimizer.study.catalogue import STUDIES_FOLDER
from tests.optimizer.commands import draw_none
from tests.optimizer.small_study import write_small_study


@pytest.fixture(autouse=True)
def told_nothing_of_stages(monkeypatch):
    """Let no command say what it is at: tests count the lines of errors, on slow machines too."""
    monkeypatch.setattr("optimizer.cli.stages_view._FIRST_S", 3600.0)


@pytest.fixture(autouse=True)
def no_figures(request, monkeypatch):
    """Let commands draw no figures of a study, which takes them longer than to search a small one.

    `finished` has them; a test that looks at those of other studies takes the fixture `figures`.
    """
    if "figures" not in request.fixturenames:
        monkeypatch.setattr("optimizer.cli.output.study.write_figures", draw_none)


@pytest.fixture
def figures():
    """Let commands draw figures."""


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
def finished(made_once):
    """Return the folder of a small study that was run to its end; to be read only."""

    def run(folder):
        app(["run", str(write_small_study(folder))], standalone_mode=False)

    return made_once("finished", run)


@pytest.fixture(scope="session")
def fitted_log(made_once):
    """Return a folder of the packaged log, an invented ride on models that are not the project's.

    It holds the fit that a command made, and what that printed; to be read only.
    """

    def fit(folder):
        folder.mkdir()
        for name in ("ride.csv", "ride.mapping.toml"):
            shutil.copy(STUDIES_FOLDER / "ridden" / name, folder)
        printed = io.StringIO()
        with contextlib.redirect_stdout(printed):
            app(["log", "fit", str(folder / "ride.csv"), "--json"], standalone_mode=False)
        (folder / "printed.json").write_text(printed.getvalue())

    return made_once("fitted_log", fit)
