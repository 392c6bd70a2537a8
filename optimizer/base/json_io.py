"""JSON that any reader takes."""

import json
import math
from collections.abc import Mapping
from typing import Any

import numpy as np

from optimizer.base.printable import in_unicode_escapes


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
