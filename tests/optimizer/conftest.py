"""What the tests of the commands share."""

import sys

import pytest

from optimizer import cli


@pytest.fixture
def levelgain(monkeypatch, capsys):
    """Return a function that runs the command and gives exit code, output and errors."""

    def run(*arguments):
        monkeypatch.setattr(sys, "argv", ["levelgain", *map(str, arguments)])
        with pytest.raises(SystemExit) as ended:
            cli.main()
        said = capsys.readouterr()
        return ended.value.code or 0, said.out, said.err

    return run
