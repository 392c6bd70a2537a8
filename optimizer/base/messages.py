"""Parts of messages: a value, its place in a file, the likely name, counts and changes."""

import difflib
from collections.abc import Iterable
from typing import Any

_SHOWN = 60  # characters of a value that a message shows


def nearest(name: str, allowed: Iterable[str]) -> str:
    """Return the allowed name that is most like what was written, by its words and letters."""
    name = name[:_SHOWN]  # the comparison takes a time that grows with the square of a length
    words = name.lower().split("_")

    def likeness(candidate: str) -> float:
        parts = candidate.lower().split("_")
        shared = sum(word in parts for word in words) / len(words)
        same_start = difflib.SequenceMatcher(None, words[0], parts[0]).ratio()
        whole = difflib.SequenceMatcher(None, name.lower(), candidate.lower()).ratio()
        return whole + shared + 0.5 * same_start

    return max(sorted(allowed), key=likeness)


def shown(value: Any) -> str:
    """Return a value as a message shows it."""
    text = f"{value:g}" if isinstance(value, float) else repr(value)
    return text if len(text) <= _SHOWN else text[:_SHOWN] + "…"


def counted(number: int, what: str) -> str:
    """Return how many there are of something, whose plural ends in s."""
    return f"{number:,} {what}" if number == 1 else f"{number:,} {what}s"


def two_digits(number: float) -> str:
    """Return two digits of a number, without a power of ten: 120, not 1.2e+02."""
    return f"{float(f'{number:.2g}'):g}"


def signed_percent(percent: float) -> str:
    """Return a change in % with its sign; of none it is no minus."""
    return f"{round(percent, 1) + 0.0:+.1f} %"


def place(*keys: str | int) -> str:
    """Return where in a file something stands, with dots."""
    return ".".join(str(key) for key in keys if key != "")
