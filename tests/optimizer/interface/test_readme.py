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


def _with_few_hours(new_study):
    """Return `new_study` whose studies look for hard rides in 1 h, not in 300 for two minutes."""

    def made(*given, **named):
        folder = new_study(*given, **named).folder
        path = folder / "study.toml"
        text = path.read_text()
        assert "\n[search]\n" in text
        path.write_text(text.replace("\n[search]\n", "\n[search]\nhard_rides_h = 1.0\n"))
        return load_study(folder)

    return made


@pytest.mark.slow
def test_the_readmes_notebook_runs(notebook, monkeypatch, capsys):
    public = sys.modules["levelgain"]
    monkeypatch.setattr(public, "new_study", _with_few_hours(public.new_study))
    cells = notebook(_lines())

    assert len(cells["results"]) == 96
    assert cells["table"]["on_front"].all()
    assert len(cells["worst"]) == 5
    assert cells["signals"]["time_s"].is_monotonic_increasing
    assert len(cells["facts"]["verdicts"]) >= 5
    assert "search, in candidates: 96 of 96" in capsys.readouterr().out
