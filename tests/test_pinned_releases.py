"""What was tested can be installed again: every library has a release in the constraints file."""

import tomllib
from pathlib import Path

from packaging.requirements import Requirement

from tests import pinned_releases
from tests.pinned_releases import COMMAND, FILE, differences, file_text, installed, normal, pinned

PROJECT = tomllib.loads((Path(__file__).parents[1] / "pyproject.toml").read_text())["project"]
PINS = pinned(FILE.read_text(encoding="utf-8"))


def needed():
    """Return what the project and its tests name: requirements without those of a GPU."""
    extras = PROJECT["optional-dependencies"]
    lines = [*PROJECT["dependencies"], *extras["cluster"], *extras["test"]]
    return [each for each in map(Requirement, lines) if each.name != "levelgain"]


def test_every_library_that_the_project_names_has_a_tested_release_within_its_bounds():
    for requirement in needed():
        release = PINS.get(normal(requirement.name), "none")
        assert requirement.specifier.contains(release), f"{requirement}: type {COMMAND}"


def test_a_file_is_read_back_as_it_was_written():
    releases = {"numpy": "2.4.6", "jinja2": "3.1.6"}

    text = file_text(releases)

    assert pinned(text) == releases
    assert text.splitlines()[1:] == ["jinja2==3.1.6", "numpy==2.4.6"]


def test_what_is_installed_and_pinned_otherwise_or_nowhere_is_said():
    pins = {"numpy": "2.4.6", "scipy": "1.17.1", "zipp": "4.0"}

    assert differences(pins, {"numpy": "2.4.6", "scipy": "1.17.1"}) == []
    assert differences(pins, {"numpy": "2.5.0", "rich": "15.0", "scipy": "1.17.1"}) == [
        "numpy: installed 2.5.0, pinned 2.4.6",
        "rich: installed 15.0, pinned nowhere",
    ]


def test_libraries_of_libraries_and_of_extras_count(monkeypatch):
    class Installed:
        version = "1.0"

        def __init__(self, *requires):
            self.requires = list(requires)

    known = {
        "levelgain": Installed("one", 'two[fast]; extra == "test"', 'gpu; extra == "cuda"'),
        "one": Installed("Three_Of.Us", 'old; python_version < "3"'),
        "two": Installed('rapid; extra == "fast"', 'slow; extra == "slow"'),
        "three-of-us": Installed("one"),
        "rapid": Installed("two"),
    }
    monkeypatch.setattr(pinned_releases, "distribution", known.__getitem__)

    assert set(installed()) == {"one", "two", "three-of-us", "rapid"}
