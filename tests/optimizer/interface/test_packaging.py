"""What an installation holds, read from the project file; `.ci/run` installs it."""

import tomllib
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[3]
SETUP = tomllib.loads((ROOT / "pyproject.toml").read_text())["tool"]["setuptools"]
FOLDERS = {
    name: ROOT / SETUP["package-dir"].get(name, name.replace(".", "/"))
    for name in SETUP["packages"]
}


def test_every_package_of_the_rooms_is_installed():
    written = {
        found.parent
        for room in ("objectives", "optimizer", "plant")
        for found in (ROOT / room).rglob("__init__.py")
    }

    assert written | {ROOT / "studies"} == set(FOLDERS.values())


@pytest.mark.parametrize("package", sorted(FOLDERS))
def test_every_file_beside_the_modules_is_installed(package):
    folder = FOLDERS[package]
    others = {other for other in FOLDERS.values() if other != folder}
    wanted = {
        path
        for path in folder.rglob("*")
        if path.suffix in {".css", ".csv", ".gpx", ".jinja", ".js", ".toml", ".typed"}
        and not any(other in path.parents and folder in other.parents for other in others)
    }

    patterns = SETUP["package-data"].get(package, [])

    assert wanted == {path for pattern in patterns for path in folder.glob(pattern)}


def test_the_public_package_keeps_no_code_of_its_own():
    """A module in a mapped folder would be loaded twice, under two names."""
    modules = {path.name for path in FOLDERS["levelgain"].glob("*.py")}

    assert modules == {"__init__.py"}
