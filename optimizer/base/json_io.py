"""What a command tells a script, as JSON that any reader takes."""

import json
import math
from collections.abc import Mapping
from typing import Any

import numpy as np


def json_text(told: Any) -> str:
    """Return indented JSON that ends with a new line.

    Parameters
    ----------
    told : mapping, sequence, text, number, bool or None
        Numbers may be NumPy's. JSON has no NaN and no infinity: they become null.
    """
    return json.dumps(_plain(told), indent=2, ensure_ascii=False, allow_nan=False) + "\n"


def _plain(told: Any) -> Any:
    if isinstance(told, Mapping):
        return {str(name): _plain(value) for name, value in told.items()}
    if isinstance(told, list | tuple):
        return [_plain(value) for value in told]
    value = told.item() if isinstance(told, np.generic) else told
    return None if isinstance(value, float) and not math.isfinite(value) else value
