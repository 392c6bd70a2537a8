"""Libraries whose versions decide results, and the keys under which stores freeze them."""

from collections.abc import Iterable, Mapping
from importlib.metadata import PackageNotFoundError, version

RIDING = ("levelgain", "numba", "numpy", "scipy")  # numpy lays the roads, scipy scores
PROPOSING = ("moocore", "numpy", "scipy")
DECIDING = tuple(dict.fromkeys((*RIDING, *PROPOSING)))

_PREFIX = "library."


def library_versions(libraries: Iterable[str]) -> dict[str, str]:
    """Return the versions installed here, each under the key by which a store freezes it."""
    return {f"{_PREFIX}{name}": version(name) for name in libraries}


def installed_version(library: str) -> str | None:
    """Return the version of a library that is installed here; None where there is none."""
    try:
        return version(library)
    except PackageNotFoundError:
        return None


def by_library(frozen: Mapping[str, str]) -> dict[str, str]:
    """Return the versions among frozen inputs, by the names of their libraries."""
    return {name: text for key, text in frozen.items() if (name := library_of(key))}


def library_of(key: str) -> str:
    """Return the library whose version a key of frozen inputs holds; empty for other keys."""
    return key.removeprefix(_PREFIX) if key.startswith(_PREFIX) else ""
