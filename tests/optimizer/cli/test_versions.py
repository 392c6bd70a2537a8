"""What decides results here, as the command says it."""

import json
import platform
from importlib.metadata import version

import numpy as np

from optimizer.base.versions import DECIDING
from optimizer.cli.output import versions


def test_all_that_a_store_freezes_of_libraries_and_model_is_said(levelgain):
    code, out, _ = levelgain("versions", "--json")

    said = json.loads(out)
    assert code == 0
    assert said["numpy"] == np.__version__
    assert said["python"] == platform.python_version()
    assert {name: said[name] for name in DECIDING} == {name: version(name) for name in DECIDING}
    assert list(said)[: len(DECIDING) + 1] == [*DECIDING, "model"]


def test_each_line_is_a_name_and_what_is_here(levelgain):
    lines = levelgain("versions")[1].splitlines()

    assert dict(line.split(maxsplit=1) for line in lines) == versions.version_facts()


def test_a_gpu_library_is_named_where_it_is_installed(monkeypatch):
    monkeypatch.setattr(versions, "installed_version", {"cupy-cuda12x": "14.2"}.get)

    facts = versions.version_facts()

    assert facts["gpu_library"] == "cupy-cuda12x 14.2"
    assert facts["numpy"] == "not installed"


def test_the_version_is_said_without_a_command(levelgain):
    assert levelgain("--version") == (0, f"levelgain {version('levelgain')}\n", "")
