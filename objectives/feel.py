"""How far the nose dips as a board speeds up, in words, and how far that is from what is wanted."""

import math
from typing import Literal, TypeAlias

import numpy as np

from plant.arrays import Floats

Mark: TypeAlias = Literal["firm", "medium", "soft"]

# Nose-down pitch per acceleration, in deg per m/s2, mean of lightest and heaviest rider: what a
# word means, and the band in which it holds. Common practice, no source.
MARKS: dict[Mark, float] = {"firm": 1.5, "medium": 2.5, "soft": 4.0}
BANDS: dict[Mark, tuple[float, float]] = {
    "firm": (1.0, 2.0),
    "medium": (2.0, 3.2),
    "soft": (3.2, 5.5),
}
_UNFELT_DEG_PER_MPS2 = 0.5  # assumed: nobody feels less, so a miss of nothing counts as this


def feel_in_words(feel_deg_per_mps2: float) -> str:
    """Return the mark in whose band a feel lies, or on which side of all; "unknown" for NaN."""
    if math.isnan(feel_deg_per_mps2):
        return "unknown"
    for mark, (low, high) in BANDS.items():
        if low <= feel_deg_per_mps2 <= high:
            return mark
    return "firmer than firm" if feel_deg_per_mps2 < BANDS["firm"][0] else "softer than soft"


def feel_miss(feel_deg_per_mps2: Floats, wanted: float) -> Floats:
    """Return how far feels are from the wanted one, (candidate,), above zero.

    Parameters
    ----------
    feel_deg_per_mps2 : (candidate,) float64
    wanted : float
        In deg per m/s2.

    Returns
    -------
    (candidate,) float64
        The distance and what nobody feels of it; infinite where the feel is not known.
    """
    miss: Floats = np.abs(feel_deg_per_mps2 - wanted) + _UNFELT_DEG_PER_MPS2
    return np.where(np.isnan(miss), np.inf, miss)
