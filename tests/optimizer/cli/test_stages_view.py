"""What a command shows while it works: bars in a terminal, plain lines when piped."""

import io
import os
import pty
import shutil
import subprocess
import sys

import pytest
from rich.console import Console

from optimizer.analysis import demonstration_catalogue
from optimizer.cli.stages_view import StagesView
from tests.optimizer.small_study import SHORT_RIDES, write_small_study

ESCAPE = "\x1b"
# Commands that take seconds, and a stage that a user of a terminal is told of.
WATCHED = [
    (("check", "{}"), "timing rides"),
    (("front", "{}", "--all"), "reading the study"),
    (("show", "{}", "0"), "reading the study"),
    (("ride", "{}"), "reading the study"),
    (("explain", "{}", "0"), "riding the neighbours"),
    (("compare", "{}", "0", "1", "--to", "{to}"), "drawing"),
    (("page", "{}", "--to", "{to}/page.html"), "tracing the worst rides"),
    (("export", "{}", "0", "--to", "{to}"), "reading the study"),
    (("report", "{copy}"), "writing tables"),
    (("demonstrate", "{to}"), "riding with and without"),
    (("validate", "{short}", "--hours", "0.5", "--force"), "riding the tolerances"),
]


def shown(console):
    with StagesView(console) as stages:
        stages.begin("counting", 3)
        stages.advance(2)
    return console.file.getvalue()


def test_a_stage_is_shown_with_how_much_of_it_is_done():
    facts = shown(Console(file=io.StringIO(), force_terminal=True, width=100))

    assert "counting" in facts
    assert "2/3" in facts


def test_a_pipe_is_told_on_standard_error_once_it_takes_seconds(monkeypatch, capsys):
    monkeypatch.setattr("optimizer.cli.stages_view._FIRST_S", 0.01)
    monkeypatch.setattr("optimizer.cli.stages_view._EVERY_S", 0.01)
    said = ""
    with StagesView(Console(file=io.StringIO(), force_terminal=False)) as stages:
        stages.begin("counting", 30)
        stages.advance(2)
        while "counting: 2/30" not in said:  # or the test's own time is up
            said += capsys.readouterr().err
        stages.begin("writing")
        while "writing" not in said:
            said += capsys.readouterr().err
    capsys.readouterr()

    assert set(said.splitlines()) <= {"", "counting: 0/30", "counting: 2/30", "writing"}


def test_a_command_that_takes_no_seconds_tells_a_pipe_nothing(capsys):
    shown(Console(file=io.StringIO(), force_terminal=False))

    assert capsys.readouterr().err == ""


def test_nothing_is_shown_in_the_pipe_itself():
    assert shown(Console(file=io.StringIO(), force_terminal=False, width=100)) == ""


@pytest.mark.slow
@pytest.mark.parametrize(("arguments", "stage"), WATCHED, ids=lambda value: value[0])
def test_a_command_that_takes_seconds_tells_its_stage_in_a_terminal_alone(
    levelgain, finished, tmp_path, monkeypatch, arguments, stage
):
    copy = shutil.copytree(finished, tmp_path / "copy")
    short = write_small_study(tmp_path / "short", SHORT_RIDES)
    few = demonstration_catalogue.catalogue_demonstrations()[:2]
    monkeypatch.setattr(demonstration_catalogue, "catalogue_demonstrations", lambda: few)
    for width, terminal in (("80", False), ("200", True)):
        to = tmp_path / width
        filled = [text.format(finished, to=to, copy=copy, short=short) for text in arguments]
        monkeypatch.setenv("COLUMNS", width)
        if terminal:
            monkeypatch.setenv("FORCE_COLOR", "1")  # which rich takes for a terminal
        code, out, _ = levelgain(*filled)

        assert code == 0
        assert (stage in out) is terminal
        assert (ESCAPE in out) is terminal


@pytest.mark.slow
def test_a_bar_leaves_nothing_behind_in_a_real_terminal(finished):
    ours, theirs = pty.openpty()
    command = [sys.executable, "-m", "optimizer.cli", "front", str(finished), "--all"]
    with subprocess.Popen(command, stdout=theirs, env=os.environ | {"TERM": "xterm"}) as running:
        os.close(theirs)
        seen = b""
        while chunk := _read(ours):
            seen += chunk
    os.close(ours)

    assert running.returncode == 0
    assert b"reading the study" in seen
    assert b"reading the study" not in seen[seen.rindex(b"\x1b[2K") :]
    assert b"of 36 shown" in seen


def _read(terminal):
    """Return what a program wrote to its terminal; nothing when it has ended."""
    try:
        return os.read(terminal, 4096)
    except OSError:  # how Linux tells that the other side is closed
        return b""
