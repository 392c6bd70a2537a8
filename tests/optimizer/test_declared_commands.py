"""Every command is declared apart from what does its work, and the two agree."""

import inspect
import subprocess
import sys
from importlib import import_module
from typing import get_type_hints

import pytest
from typer.main import get_command

from optimizer.cli import app, log_app

HEAVY = ("matplotlib", "numba", "numpy", "optuna", "pandas", "scipy")
DECLARED = [info.callback for one in (app, log_app) for info in one.registered_commands]


@pytest.mark.parametrize("declared", DECLARED, ids=lambda declared: declared.__name__)
def test_a_command_is_done_by_a_function_that_takes_just_what_was_declared(declared):
    work = getattr(import_module(declared.done_by), declared.__name__)
    taken = inspect.signature(work).parameters.values()

    assert get_type_hints(work) == get_type_hints(declared)
    assert all(one.kind is one.KEYWORD_ONLY and one.default is one.empty for one in taken)


def test_every_command_says_shortly_what_it_does_and_gives_an_example():
    for name, command in get_command(app).commands.items():
        assert command.short_help
        assert name == "log" or f"Example: levelgain {name}" in command.help


@pytest.mark.parametrize(
    "asked", [["--help"], ["run", "--help"], ["log", "fit", "--help"], ["run", "--bogus"], ["rum"]]
)
def test_help_and_mistakes_answer_before_anything_heavy_is_loaded(asked):
    script = (
        "import sys\nfrom optimizer.cli import app\n"
        "try:\n    app()\nfinally:\n"
        f"    sys.stderr.write('loaded: ' + ' '.join(set({HEAVY}) & set(sys.modules)))"
    )
    done = subprocess.run(
        [sys.executable, "-c", script, *asked], capture_output=True, text=True, check=False
    )

    assert done.returncode == (0 if "--help" in asked else 2)
    assert done.stderr.endswith("loaded: ")
