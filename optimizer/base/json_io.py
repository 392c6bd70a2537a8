"""JSON that any reader takes, and a JSON file of the user's; every failure of it is one line."""

import json
import math
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import numpy as np

from optimizer.base.errors import UserInputError
from optimizer.base.messages import shown
from optimizer.base.printable import in_unicode_escapes
from optimizer.base.toml_io import Table, refuse_beyond, too_deep


def json_text(content: Any) -> str:
    """Return indented JSON that ends with a new line.

    Parameters
    ----------
    content : mapping, sequence, text, number, bool or None
        Numbers may be NumPy's. JSON has no NaN and no infinity: they become null. Control
        characters in texts become escapes, so that a terminal can show them.
    """
    text = json.dumps(_plain(content), indent=2, ensure_ascii=False, allow_nan=False)
    return f"{in_unicode_escapes(text)}\n"


def _plain(content: Any) -> Any:
    if isinstance(content, Mapping):
        return {str(name): _plain(value) for name, value in content.items()}
    if isinstance(content, list | tuple):
        return [_plain(value) for value in content]
    value = content.item() if isinstance(content, np.generic) else content
    return None if isinstance(value, float) and not math.isfinite(value) else value


def parse_json(text: str, *, path: Path) -> Table:
    """Return the tables of a JSON text; `path` names it in messages.

    Raises
    ------
    UserInputError
        The text is not JSON, is no object, names a key twice, is nested too deep, or holds a whole
        number of more than 64 bits; the line names line and column, or the key.
    """
    try:
        tables = json.loads(text, object_pairs_hook=_without_doubles)
    except json.JSONDecodeError as error:
        fault = f"{error.msg} (at line {error.lineno}, column {error.colno})"
        raise UserInputError(f"{path}: not valid JSON: {fault}; correct that place") from None
    except _TwiceError as error:
        raise UserInputError(
            f"{path}: names the key {shown(str(error))} twice; take one of them out"
        ) from None
    except ValueError:  # of thousands of digits, which Python does not read
        raise UserInputError(
            f"{path}: not valid JSON: a whole number has too many digits; correct it"
        ) from None
    except RecursionError:
        raise too_deep(path) from None
    if not isinstance(tables, dict):
        raise UserInputError(
            f"{path}: must be a JSON object, which stands in braces, got {shown(tables)}; name"
            " another file"
        )
    refuse_beyond(tables, path=path)
    return tables


class _TwiceError(Exception):
    """A key stands twice in one object."""


def _without_doubles(pairs: list[tuple[str, Any]]) -> Table:
    found: Table = {}
    for name, value in pairs:
        if name in found:
            raise _TwiceError(name)
        found[name] = value
    return found
