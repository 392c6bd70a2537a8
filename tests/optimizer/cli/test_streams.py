"""Standard output that nobody reads, is full, closed or knows few letters."""

import os
import subprocess
import sys

import pytest

from optimizer.cli.exit_codes import BAD_INPUT, OUTPUT_LOST, PIPE_CLOSED

COMMAND = [sys.executable, "-m", "optimizer.cli"]


@pytest.mark.parametrize("asked", [["--help"], ["new", "board"], ["log", "example", "ridden"]])
def test_a_reader_that_has_enough_ends_the_command_in_silence(tmp_path, asked):
    # As a shell says it of a program that the signal ends: 128 + 13, SIGPIPE of POSIX.
    reading, writing = os.pipe()
    os.close(reading)
    with os.fdopen(writing, "wb") as nobody:
        done = run(asked, tmp_path, stdout=nobody)

    assert (done.returncode, done.stderr) == (PIPE_CLOSED, "")
    assert PIPE_CLOSED == 128 + 13


@pytest.mark.parametrize("asked", [["--help"], ["new", "board"], ["log", "example", "ridden"]])
def test_a_full_disk_behind_standard_output_is_one_line(tmp_path, asked):
    with open("/dev/full", "wb") as full:  # noqa: PTH123
        done = run(asked, tmp_path, stdout=full)

    assert done.returncode == OUTPUT_LOST
    assert done.stderr == ("levelgain: the output can not be written: No space left on device\n")


def test_without_standard_output_a_command_does_nothing(tmp_path):
    shell = f"exec {' '.join(COMMAND)} new board >&-"
    done = subprocess.run(
        ["sh", "-c", shell], cwd=tmp_path, capture_output=True, text=True, check=False
    )

    assert done.returncode == OUTPUT_LOST
    assert done.stderr == ("levelgain: standard output is closed; send it to a file or a pipe\n")
    assert not list(tmp_path.iterdir())


def test_a_terminal_of_few_letters_shows_the_others_by_escapes(tmp_path):
    done = run(["log", "example", "Straße"], tmp_path, PYTHONIOENCODING="ascii")

    assert done.returncode == 0, done.stderr
    assert done.stdout.startswith(r"Stra\xdfe/ride.csv and its mapping written")


@pytest.mark.parametrize("name", ["a\x1b[31m", "a\nb", "safe\u202egpj", os.fsdecode(b"caf\xe9")])
def test_a_name_that_a_terminal_does_not_show_is_refused(tmp_path, name):
    done = run(["new", name], tmp_path)

    assert done.returncode == BAD_INPUT
    assert "a name must be of printable characters; rename it" in done.stderr
    assert not list(tmp_path.iterdir())


def run(asked, folder, stdout=subprocess.PIPE, **variables):
    return subprocess.run(
        [*COMMAND, *asked],
        cwd=folder,
        stdout=stdout,
        stderr=subprocess.PIPE,
        text=True,
        env=os.environ | variables,
        check=False,
    )
