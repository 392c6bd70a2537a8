"""The command line in a process of its own, for tests that stop, kill or starve it.

It draws no figures of a study, which takes longer than to search a small one.
"""

import os
import subprocess
import sys

WITHOUT_FIGURES = (
    "import sys, types; sys.modules['optimizer.reports.figures'] = types.SimpleNamespace("
    "write_figures=lambda *_, **__: []); from optimizer.cli import main; main()"
)


def draw_none(*_, **__):
    """Stand in for `write_figures`: no file is written."""
    return []


def start(*arguments: object) -> subprocess.Popen[str]:
    """Start a command, with its output and errors in pipes."""
    return subprocess.Popen(
        [sys.executable, "-c", WITHOUT_FIGURES, *map(str, arguments)],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        env=os.environ | {"PYTHONUNBUFFERED": "1"},
    )


def finish(*arguments: object) -> subprocess.CompletedProcess[str]:
    """Return how a command ended, with its output and errors."""
    return subprocess.run(
        [sys.executable, "-c", WITHOUT_FIGURES, *map(str, arguments)],
        check=False,
        capture_output=True,
        text=True,
    )
