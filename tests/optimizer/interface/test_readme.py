"""The README's lines for a notebook, run as they stand there."""

import importlib
import re
import sys
from pathlib import Path

import pytest

from optimizer.study.load import load_study

README = Path(__file__).parents[3] / "README.md"


def _section():
    after = README.read_text().partition("## In a notebook\n")[2]
    assert after
    return after.partition("\n## ")[0]


def _lines():
    found = re.search(r"```python\n(.*?)```", _section(), re.DOTALL)
    assert found
    return found.group(1)


@pytest.fixture
def notebook(monkeypatch, tmp_path):
    """Run lines in a folder of their own, also where an older installation has no such package."""
    public = importlib.import_module("optimizer.interface.levelgain")
    monkeypatch.setitem(sys.modules, "levelgain", public)
    monkeypatch.chdir(tmp_path)

    def run(lines):
        cells = {}
        exec(compile(lines, str(README), "exec"), cells)  # noqa: S102  # the README's own lines
        return cells

    return run


def test_every_name_that_the_readme_tells_of_is_public():
    public = importlib.import_module("optimizer.interface.levelgain").__all__

    told = set(re.findall(r"levelgain\.(\w+)", _section()))

    assert {"run", "UserInputError", "GenerationSampler"} <= told <= set(public)


# The lines ride for a minute: here two riders on few courses, and short rides of a short day.
FEW = (
    ('"pupil_40", "clerk_62", "baker_80", "smith_105"', '"pupil_40", "smith_105"'),
    ('use = "all"', 'use = ["start_uphill", "start_downhill", "tail_drag", "steep_up"]'),
    ('riders = ["pupil_40", "clerk_62"]', 'riders = ["pupil_40"]'),
    ("\n[search]\n", "\n[riding_day]\nride_s = 10.0\n\n[search]\nhard_rides_h = 1.0\n"),
)


def _with_few_rides(new_study):
    """Return `new_study` whose studies ride few rides."""

    def made(*given, **named):
        folder = new_study(*given, **named).folder
        path = folder / "study.toml"
        text = path.read_text()
        for whole, few in FEW:
            assert whole in text
            text = text.replace(whole, few)
        path.write_text(text)
        return load_study(folder)

    return made


def _over_an_hour(validate):
    """Return `validate` over one hour, whatever is asked."""
    return lambda *given, **named: validate(*given, **named | {"hours": 1.0})


@pytest.mark.slow
def test_the_readmes_notebook_runs(notebook, monkeypatch, capsys):
    public = sys.modules["levelgain"]
    monkeypatch.setattr(public, "new_study", _with_few_rides(public.new_study))
    monkeypatch.setattr(public, "validate", _over_an_hour(public.validate))
    cells = notebook(_lines())

    assert len(cells["results"]) == 96
    assert cells["table"]["on_front"].all()
    assert len(cells["worst"]) == 5
    assert cells["signals"]["time_s"].is_monotonic_increasing
    assert len(cells["facts"]["verdicts"]) >= 5
    assert "search, in candidates: 96 of 96" in capsys.readouterr().out
