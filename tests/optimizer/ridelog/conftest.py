"""What the tests of the log's commands share."""

import sys

import pytest

from optimizer.cli import app as cli


@pytest.fixture
def levelgain_log(monkeypatch, capsys):
    """Return a function that runs `levelgain log` and gives exit code, output and errors."""

    def run(*arguments):
        monkeypatch.setattr(sys, "argv", ["levelgain", "log", *map(str, arguments)])
        with pytest.raises(SystemExit) as ended:
            cli.main()
        said = capsys.readouterr()
        return ended.value.code or 0, said.out, said.err

    return run
