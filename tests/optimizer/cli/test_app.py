"""What the command answers by itself: help, mistakes, completion, colour."""

import re
import shutil
import subprocess
import sys
from pathlib import Path

import pytest
import typer

from optimizer.base.errors import ArgumentError
from optimizer.cli import app as application
from optimizer.cli.app import app, log_app
from optimizer.cli.console import console
from optimizer.cli.loading import loading
from tests.optimizer.small_study import write_small_study

ROOT = Path(application.__file__).parents[1]
# Pydantic is not among them: typer itself reads options with it.
HEAVY = (
    "distributed",
    "joblib",
    "matplotlib",
    "numba",
    "numpy",
    "optuna",
    "pandas",
    "psycopg",
    "rich",
    "scipy",
)
HELPS = [
    [],
    ["log"],
    *([info.name] for info in app.registered_commands),
    *(["log", info.name] for info in log_app.registered_commands),
]


@pytest.mark.parametrize("asked", HELPS, ids=" ".join)
def test_each_help_fits_a_screen_and_has_an_example_to_copy(levelgain, monkeypatch, asked):
    monkeypatch.setenv("COLUMNS", "80")

    lines = levelgain(*asked, "--help")[1].splitlines()

    assert len(lines) <= (24 if asked else 56)
    assert max(map(len, lines)) <= 80
    example = next(line.strip() for line in lines if line.strip().startswith("Example: "))
    assert example.startswith(" ".join(["Example: levelgain", *asked]))


@pytest.mark.parametrize(
    ("typed", "said"),
    [
        (("run", "S", "--until-gain", "nan"), "--until-gain: must be above 0 and at most 100, got"),
        (("run", "S", "--minutes", "-3"), "--minutes: must be above 0"),
        (("run", "S", "--candidates", "99999999"), "--candidates: must be from 1 to 10,000,000,"),
        (("repeat", "S", "--candidates", "99999999"), "--candidates: must be from 1"),
        (("validate", "S", "--hours", "1e9"), "--hours: must be from 0.1 to 1,000,000"),
        (("validate", "S", "--hours", "9", "--accelerated", "5"),
         "--accelerated: must be more than the 9 hours"),
        (("new", "N", "--motor-kv", "nan"), "--motor-kv: must be a Kv from 3 to 200 rpm/V,"),
        (("new", "N", "--wheel", "28"), "--wheel: must be a diameter from 0.1 to 0.8 m, got 28"),
        (("new", "N", "--cells", "0"), "--cells: must be a number of cells from 2"),
        (("new", "N", "--riders", "62,5"), "--riders: must be masses from 20 to 160 kg, got 5"),
        (("new", "N", "--riders", "62;5"), "--riders: must be masses in kg with commas"),
        (("new", "N", "--example", "hilltown"), "--example: there is no 'hilltown'"),
        (("ride", "S", "--if", "speed_kmh"), "speed_kmh has no number; write it like speed_kmh="),
        (("schema", "N"), "no such folder; make a study with: levelgain new"),
        (("log", "use", "ride.csv", "S"), "study.toml: is there already; name a new folder"),
        (("log", "use", "ride.csv", "N", "--into", "S"), "was not searched yet"),
    ],
)  # fmt: skip
def test_a_wrong_value_is_refused_by_the_name_of_its_option(levelgain, tmp_path, typed, said):
    study = write_small_study(tmp_path / "S")
    places = {"S": study, "N": tmp_path / "N", "ride.csv": tmp_path / "ride.csv"}

    code, out, err = levelgain(*(places.get(word, word) for word in typed))

    assert (code, out, err.count("\n")) == (2, "", 1)
    assert said in err
    assert [path.name for path in tmp_path.iterdir()] == ["S"]
    assert [path.name for path in study.iterdir()] == ["study.toml"]


def test_each_argument_that_is_refused_is_an_option():
    sources = "".join(path.read_text() for path in ROOT.rglob("*.py"))
    refused = set(re.findall(r"ArgumentError\(\s*\"(\w+)\"", sources))
    options = {option for name in HELPS for option in _options(name)}

    assert len(refused) > 5
    for argument in refused:
        error = ArgumentError(argument, "is wrong")
        assert application._of_option(error).partition(":")[0] in options


def _options(words):
    command = typer.main.get_command(app)
    for word in words:
        command = command.commands[word]
    return {option for parameter in command.params for option in parameter.opts}


@pytest.mark.parametrize(
    ("typed", "said"),
    [
        (("validate", "hill_town", "--device", "gpu"), "'gpu' is not one of 'cpu', 'cuda'"),
        (("validate", "hill_town", "--hours", "0"), "greater than or equal to 0.1"),
        (("validate", "hill_town", "--hours"), "--hours"),
        (("run", "hill_town", "--jobs", "two"), "--jobs"),
        (("log", "fit", "--ways"), "--ways"),
        (("front",), "FOLDER"),
        (("frnt",), "Did you mean 'front'?"),
    ],
)
def test_what_is_mistyped_is_said_in_one_line(levelgain, typed, said):
    code, out, err = levelgain(*typed)

    assert (code, out, err.count("\n")) == (2, "", 1)
    assert said in err
    assert err.endswith("--help)\n")


def test_without_a_command_the_help_is_shown(levelgain):
    code, out, err = levelgain()

    assert code == 2
    assert "\nSearch:\n  run " in out + err


@pytest.mark.parametrize(
    ("typed", "completed"),
    [
        (("ru",), ["run"]),
        (("log", "fi"), ["fit"]),
        (("run", "--cand"), ["--candidates"]),
        (("show", "my_board", "lowest_c"), ["lowest_current", "lowest_cost"]),
        (("export", "my_board", "0", "--format", "t"), ["toml"]),
        (("show", "my_b"), []),  # the shell itself completes the names of files
    ],
)
def test_bash_completes_commands_options_and_picks(typed, completed):
    program = Path(sys.executable).with_name("levelgain")
    if not (program.exists() and shutil.which("bash")):
        pytest.skip("levelgain is not installed beside this Python, or there is no bash")
    script = (
        f'eval "$(_LEVELGAIN_COMPLETE=source_bash {program})"\n'
        f"COMP_WORDS=(levelgain {' '.join(typed)}); COMP_CWORD={len(typed)}\n"
        f'_levelgain_completion {program}; echo "${{COMPREPLY[@]}}"'
    )

    done = subprocess.run(["bash", "-c", script], capture_output=True, text=True, check=True)

    assert done.stdout.split() == completed


@pytest.mark.parametrize(("no_color", "colored"), [("", True), ("1", False)])
def test_nothing_is_coloured_for_a_user_who_wants_no_colour(monkeypatch, capsys, no_color, colored):
    monkeypatch.setenv("FORCE_COLOR", "1")  # which rich takes for a terminal
    monkeypatch.setenv("NO_COLOR", no_color)

    console().print("fail", style="bold red")

    assert ("31m" in capsys.readouterr().out) is colored


def test_a_name_in_brackets_is_printed_as_it_is(capsys):
    console().print("[red] board/study.toml written.")

    assert capsys.readouterr().out == "[red] board/study.toml written.\n"


@pytest.mark.parametrize(
    "asked", [["--help"], ["run", "--help"], ["log", "fit", "--help"], ["run", "--bogus"], ["rum"]]
)
def test_help_and_mistakes_answer_before_anything_heavy_is_loaded(asked):
    script = (
        "import sys\nfrom optimizer.cli.app import app\n"
        "try:\n    app()\nfinally:\n"
        f"    sys.stderr.write('loaded: ' + ' '.join(set({HEAVY}) & set(sys.modules)))"
    )
    done = subprocess.run(
        [sys.executable, "-c", script, *asked], capture_output=True, text=True, check=False
    )

    assert done.returncode == (0 if "--help" in asked else 2)
    assert done.stderr.endswith("loaded: ")


@pytest.mark.parametrize(
    ("needed", "not_needed"),
    [
        ("optimizer.cli.read_study, optimizer.interface.candidates", {"numba", "scipy"}),
        ("optimizer.reports.page", {"matplotlib", "numba", "pandas", "scipy"}),
        ("optimizer.interface.figures", {"numba", "optuna", "scipy", "sklearn"}),
    ],
)
def test_results_are_shown_and_drawn_without_libraries_that_load_long(needed, not_needed):
    script = f"import sys, {needed}; sys.exit(' '.join({not_needed} & set(sys.modules)))"

    done = subprocess.run(
        [sys.executable, "-W", "ignore", "-c", script], capture_output=True, text=True, check=False
    )

    assert done.stderr.strip() == ""


@pytest.mark.parametrize(
    ("asked", "said"),
    [
        (["front"], "weighted_cost_ratio"),
        (["show", "balanced"], "worst rider's"),
        (["show", "0", "--json"], '"worst_rides"'),
        (["export", "lowest_cost"], "Before anybody rides"),
    ],
)
def test_a_finished_study_is_looked_up_without_compiler_and_tables(finished, tmp_path, asked, said):
    command, *rest = asked
    to = ["--to", str(tmp_path)] if command == "export" else []
    script = (
        "import sys\nfrom optimizer.cli.app import app\n"
        f"app({[command, str(finished), *rest, *to]!r}, standalone_mode=False)\n"
        "heavy = {'joblib', 'matplotlib', 'numba', 'pandas', 'pyarrow', 'scipy'}\n"
        "sys.stderr.write(' '.join(sorted(heavy & set(sys.modules))))"
    )

    done = subprocess.run(
        [sys.executable, "-W", "ignore", "-c", script], capture_output=True, text=True, check=False
    )

    # On a busy machine a line before it says what the command is at.
    assert (done.returncode, done.stderr.rpartition("\n")[2]) == (0, "")
    assert said in done.stdout


@pytest.mark.parametrize("terminal", [True, False])
def test_a_terminal_alone_shows_that_a_command_is_loading(monkeypatch, capsys, terminal):
    for stream in (sys.stdout, sys.stderr):
        monkeypatch.setattr(stream, "isatty", lambda: terminal)

    with loading():
        meanwhile = capsys.readouterr().err

    assert meanwhile.startswith("loading") is terminal
    assert capsys.readouterr().err.rpartition("\r")[2] == ""


@pytest.mark.parametrize("module", ["optimizer.cli", "optimizer.cli.app"])
def test_the_command_runs_as_a_module_without_a_warning(module):
    done = subprocess.run(
        [sys.executable, "-m", module, "--help"], capture_output=True, text=True, check=False
    )

    assert (done.returncode, done.stderr) == (0, "")
    assert "demonstrate" in done.stdout
