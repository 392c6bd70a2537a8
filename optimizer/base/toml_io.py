"""Read a TOML file of the user's; every failure is one line."""

import re
import tomllib
from pathlib import Path
from typing import Any, TypeAlias

from optimizer.base.errors import UserInputError
from optimizer.base.messages import place
from optimizer.base.reading import read_text

Table: TypeAlias = dict[str, Any]

_DEEPEST = 40  # tables in tables; a study's deepest has six
_WHOLE = range(-(2**63), 2**63)  # TOML 1.0, "Integer": what a reader must be able to hold
# A key of so many parts, before it is parsed: that takes a time that grows with their square.
_PART = r"""(?:[\w-]+|"[^"\n]*"|'[^'\n]*')[ \t]*\.[ \t]*"""
_LONG_KEY = re.compile(rf"""(?<![\w"'-])(?:{_PART}){{{_DEEPEST}}}""")


def parse_toml(text: str, *, path: Path) -> Table:
    """Return the tables of a TOML text; `path` names it in messages.

    Raises
    ------
    UserInputError
        The text is not TOML, is nested too deep, or holds a whole number of more than 64 bits; the
        line names line and column, or the key.
    """
    if _LONG_KEY.search(text):
        raise too_deep(path)
    try:
        tables = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise UserInputError(f"{path}: not valid TOML: {error}; correct that place") from None
    except ValueError:  # of thousands of digits, which Python does not read
        raise UserInputError(
            f"{path}: not valid TOML: a whole number has too many digits; correct it"
        ) from None
    except RecursionError:
        raise too_deep(path) from None
    refuse_beyond(tables, path=path)
    return tables


def read_toml(path: Path, *, missing: str = "check the path") -> Table:
    """Return the tables of a TOML file; the arguments and errors are those of the parts."""
    return parse_toml(read_text(path, missing=missing), path=path)


def too_deep(path: Path) -> UserInputError:
    """Return the refusal of a file whose tables are nested too deep to be read."""
    return UserInputError(
        f"{path}: tables and lists may be nested {_DEEPEST} deep; take the deeper ones out"
    )


def refuse_beyond(tables: Table, *, path: Path) -> None:
    """Refuse what is nested too deep for the readers of tables, and numbers beyond 64 bits."""
    left: list[tuple[int, str, Any]] = [(0, "", tables)]
    while left:
        depth, key, value = left.pop()
        if depth > _DEEPEST:
            raise too_deep(path)
        if isinstance(value, dict):
            left += [(depth + 1, place(key, name), inner) for name, inner in value.items()]
        elif isinstance(value, list):
            left += [(depth + 1, key, inner) for inner in value]
        elif isinstance(value, int) and value not in _WHOLE:
            raise UserInputError(
                f"{path}: {key}: a whole number must fit into 64 bits, got one of"
                f" {value.bit_length()} bits; correct it"
            )
