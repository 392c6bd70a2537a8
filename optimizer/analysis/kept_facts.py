"""Facts of candidates that take the compiled model to find, kept beside a study's results.

A lookup that reads them loads no compiler and simulates nothing. Each lies beside a digest of
itself and of all that it follows from; one that is missing, damaged, of other rides or of another
program is found anew.
"""

import dataclasses
import functools
import hashlib
import json
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any, Generic, TypeVar

import objectives
import optimizer
import plant
from optimizer.analysis.results import Results
from optimizer.base.atomic_files import write_whole
from optimizer.base.hashing import digest, plain
from optimizer.base.reading import MOST_TABLE_BYTES, read_text
from optimizer.base.source_digest import bytes_digest
from optimizer.base.versions import RIDING, library_versions
from optimizer.search.evaluation import BASELINE
from optimizer.study.catalogue import CATALOGUE_FOLDER
from optimizer.study.paths import KEPT_FACTS, RESULTS_FOLDER

_Fact = TypeVar("_Fact")


@dataclasses.dataclass(frozen=True, slots=True, kw_only=True)
class Kind(Generic[_Fact]):
    """A kind of fact, and the one way to find it.

    Attributes
    ----------
    name : str
        By which it is kept.
    find : callable
        Returns the facts of numbered candidates of some results.
    read : callable
        Returns a fact from the plain values that JSON makes of it.
    """

    name: str
    find: Callable[[Results, Sequence[int]], list[_Fact]]
    read: Callable[[Any], _Fact]


def facts(kind: Kind[_Fact], results: Results, numbers: Sequence[int]) -> list[_Fact]:
    """Return the facts of candidates: as they are kept, or found now.

    Parameters
    ----------
    kind : Kind
    results : Results
    numbers : sequence of int
        Of the candidates.
    """
    kept = _kept(results, kind.name)
    known = {
        number: kind.read(kept[str(number)]["fact"])
        for number in numbers
        if _is_sound(results, number, kept.get(str(number)))
    }
    missing = [number for number in numbers if number not in known]
    if missing:
        known |= zip(missing, kind.find(results, missing), strict=True)
    return [known[number] for number in numbers]


def keep_facts(results: Results, kinds: Sequence[Kind[Any]], numbers: Sequence[int]) -> Path:
    """Keep facts of some kinds of numbered candidates; others are kept no longer.

    Returns
    -------
    Path
        The file, in the study's results folder.

    Raises
    ------
    UserInputError
        It can not be written.
    """
    content = {
        kind.name: {
            str(number): {"fact": fact, "digest": _digest_of(results, number, fact)}
            for number, fact in zip(numbers, map(plain, facts(kind, results, numbers)), strict=True)
        }
        for kind in kinds
    }
    write_whole(_file(results), json.dumps(content))
    return _file(results)


def _file(results: Results) -> Path:
    return results.study.folder / RESULTS_FOLDER / KEPT_FACTS


def _kept(results: Results, kind: str) -> dict[str, Any]:
    """Return what is kept of a kind by number as text, nothing where it can not be read."""
    try:
        kept = _parsed(read_text(_file(results), most_bytes=MOST_TABLE_BYTES))[kind]
    except (ValueError, KeyError, TypeError, RecursionError):
        return {}
    return kept if isinstance(kept, dict) else {}


@functools.lru_cache(maxsize=1)
def _parsed(text: str) -> Any:
    """Return what a text says, parsed once for all kinds that a command looks up."""
    return json.loads(text)


def _is_sound(results: Results, number: int, kept: Any) -> bool:
    """Say whether what is kept of a candidate is a fact of it, as it was written."""
    return (
        isinstance(kept, dict)
        and kept.keys() == {"fact", "digest"}
        and kept["digest"] == _digest_of(results, number, kept["fact"])
    )


def _digest_of(results: Results, number: int, fact: Any) -> str:
    """Return a digest of a fact, the program, the study and what baseline and candidate rode."""
    study = results.study
    ridden = hashlib.sha256()
    for row in (BASELINE, number):
        for array in (
            results.history.values,
            results.history.constraints,
            results.rides,
            results.handling,
            results.hard,
        ):
            ridden.update(array[row].tobytes())
    hard = None if study.hard is None else study.hard.text
    again = bool(results.reevaluated[number])
    return digest([fact, _program(), study.digest, hard, again, ridden.hexdigest()])


@functools.cache
def _program() -> str:
    """Return a digest of this program as it is installed, with the libraries that decide rides."""
    sources = bytes_digest([Path(each.__path__[0]) for each in (plant, objectives, optimizer)])
    catalogue = [path.read_text("utf-8") for path in sorted(CATALOGUE_FOLDER.glob("*.toml"))]
    return digest([sources, catalogue, library_versions(RIDING)])
