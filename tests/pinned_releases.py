"""Releases of the libraries with which the tests ran: `.ci/constraints.txt`.

`python -m tests.pinned_releases` writes the file anew from what is installed here, after an
installation without it by the oldest Python that is supported. With `--check` it says instead what
is installed and differs, and ends with 1 if anything does.
"""

import argparse
import re
import sys
from collections.abc import Iterator, Mapping
from importlib.metadata import PackageNotFoundError, distribution
from pathlib import Path

from packaging.requirements import Requirement

FILE = Path(__file__).parents[1] / ".ci" / "constraints.txt"
COMMAND = "python -m tests.pinned_releases"
_HEAD = f"# The releases with which the tests ran, written by {COMMAND}.\n"
_OWN = "levelgain"


def normal(name: str) -> str:
    """Return a distribution's name as the registry compares it."""
    return re.sub(r"[-_.]+", "-", name).lower()


def pinned(text: str) -> dict[str, str]:
    """Return the releases that a constraints file names, by distribution."""
    lines = (line.partition("#")[0].strip() for line in text.splitlines())
    pins = (line.partition("==") for line in lines if line)
    return {normal(name): release for name, _, release in pins}


def file_text(releases: Mapping[str, str]) -> str:
    """Return the text of a constraints file."""
    return _HEAD + "".join(f"{name}=={releases[name]}\n" for name in sorted(releases))


def installed() -> dict[str, str]:
    """Return the releases here of all that levelgain and its tests need, by distribution."""
    wanted = {_OWN: {"test"}}
    releases: dict[str, str] = {}
    waiting = [_OWN]
    while waiting:
        name = waiting.pop()
        try:
            found = distribution(name)
        except PackageNotFoundError:
            sys.exit(f"{name} is not installed; type: pip install -e '.[test]'")
        releases[name] = found.version
        for needed, extras in _needs(found.requires or (), wanted[name]):
            before = wanted.get(needed)
            if before is None or not extras <= before:
                wanted[needed] = extras | (before or set())
                waiting.append(needed)
    del releases[_OWN]
    return releases


def _needs(requires: list[str] | tuple[()], extras: set[str]) -> Iterator[tuple[str, set[str]]]:
    """Yield what a distribution needs here with some extras: names, and extras of theirs."""
    for requirement in map(Requirement, requires):
        marker = requirement.marker
        if marker is None or any(marker.evaluate({"extra": extra}) for extra in {"", *extras}):
            yield normal(requirement.name), requirement.extras


def differences(pins: Mapping[str, str], here: Mapping[str, str]) -> list[str]:
    """Return a line for each installed release that is not the pinned one.

    What is pinned and not installed is none of them: some libraries are for some Pythons alone.
    """
    return [
        f"{name}: installed {release}, pinned {pins.get(name, 'nowhere')}"
        for name, release in sorted(here.items())
        if pins.get(name) != release
    ]


def main() -> None:
    """Write the file, or compare it with what is installed."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--check", action="store_true")
    if not parser.parse_args().check:
        FILE.write_text(file_text(installed()), encoding="utf-8")
        return
    lines = differences(pinned(FILE.read_text(encoding="utf-8")), installed())
    if lines:
        anew = "in a fresh environment type: pip install -e '.[test]' && " + COMMAND
        sys.exit("\n".join([*lines, f"{FILE.name} is out of date; {anew}"]))


if __name__ == "__main__":
    main()
