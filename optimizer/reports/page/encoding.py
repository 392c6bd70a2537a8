"""Arrays as compact text for the page's script: little-endian numbers in base64."""

import base64
from typing import Any, TypeAlias

import numpy as np
from numpy.typing import NDArray

Packed: TypeAlias = dict[str, Any]

_TYPES = {"f4": "<f4", "f8": "<f8", "u1": "<u1", "u2": "<u2", "u4": "<u4"}
_NO_VALUE = 65535  # of a quantised number
_STEPS = _NO_VALUE - 1


def packed(values: Any, kind: str) -> Packed:
    """Return an array as its type, its shape and its numbers in base64.

    Parameters
    ----------
    values : array_like
        Whole numbers for the kinds that begin with u.
    kind : str
        f4, f8, u1, u2 or u4.
    """
    array = np.ascontiguousarray(values, dtype=_TYPES[kind])
    return {
        "type": kind,
        "shape": list(array.shape),
        "data": base64.b64encode(array.tobytes()).decode("ascii"),
    }


def quantised(values: NDArray[np.float64]) -> Packed:
    """Return (signal, sample) numbers in 65,534 steps between each signal's ends.

    NaN stays NaN. A signal is kept to within half a step: its range over 131,068.
    """
    gaps = np.isnan(values)
    filled = np.where(gaps, np.inf, values)
    low = np.where(gaps.all(axis=1), 0.0, filled.min(axis=1))
    high = np.where(gaps.all(axis=1), 0.0, np.where(gaps, -np.inf, values).max(axis=1))
    span = np.where(high > low, high - low, 1.0)
    share = (np.where(gaps, low[:, None], values) - low[:, None]) / span[:, None]
    steps = np.where(gaps, _NO_VALUE, np.rint(_STEPS * share))
    return {**packed(steps, "u2"), "low": low.tolist(), "step": (span / _STEPS).tolist()}
