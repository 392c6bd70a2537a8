"""Inputs that a study was started with against those of today.

A study goes on only with the inputs it was started with: the same study file, space, seed and
versions of the libraries that draw and calculate.
"""

from collections.abc import Mapping
from itertools import zip_longest
from pathlib import Path

from optimizer.base.errors import StoreError
from optimizer.base.versions import library_of

_SHOWN = 60  # characters of a text that a message shows


def refuse_differences(
    place: Path | str,
    stored: Mapping[str, str],
    inputs: Mapping[str, str],
    *,
    anew: str = "start a new study folder",
) -> None:
    """Refuse inputs that are not those stored.

    Parameters
    ----------
    place : Path or str
        Where they are stored, for the message.
    stored, inputs : mapping of str to str
    anew : str
        What to do instead of going on, for the message.

    Raises
    ------
    UserInputError
        Names the first key that differs and where, with both texts shortened.
    """
    for key, text in inputs.items():
        if stored.get(key) == text:
            continue
        if key not in stored:
            raise StoreError(
                f"{place}: {key} was not part of this study when it was started; {anew}"
            )
        before, now = _first_difference(stored[key], text)
        library = library_of(key)
        way_back = f"install {library} {before}" if library else "put it back"
        raise StoreError(
            f"{place}: {key} differs from what this study was started with:"
            f" was {before!r}, now {now!r}; {way_back} to go on, or {anew}"
        )


def _first_difference(before: str, now: str) -> tuple[str, str]:
    """Return the first line that differs in two texts, shortened around the difference."""
    pairs = zip_longest(before.splitlines(), now.splitlines(), fillvalue="")
    first, second = next((pair for pair in pairs if pair[0] != pair[1]), (before, now))
    same = next(
        (place for place, (a, b) in enumerate(zip(first, second, strict=False)) if a != b),
        min(len(first), len(second)),
    )
    start = max(0, same - _SHOWN // 2)
    return _shortened(first, start), _shortened(second, start)


def _shortened(line: str, start: int) -> str:
    end = start + _SHOWN
    return ("…" if start else "") + line[start:end].strip() + ("…" if end < len(line) else "")
