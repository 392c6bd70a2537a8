"""Which widths of `objectives.nose_down_rate` order profiles most like their plain counts do."""

import dataclasses
import itertools
from collections.abc import Sequence

import numpy as np
from scipy.stats import spearmanr

from objectives.nose_down_rate import (
    NOSE_DOWNS_PER_NEARNESS,
    NOSE_WIDTH_RATIO,
    RESERVE_WIDTH_RATIO,
    DayRules,
    margin_widths,
    nearness,
    rates_by_rider,
)
from objectives.portfolio import weighted_sum
from objectives.ride_scores import Codes
from plant.arrays import Floats

RESERVE_WIDTHS = (0.015, 0.02, 0.03, 0.05, 0.07, 0.1, 0.15, 0.2)
NOSE_WIDTHS = (0.03, 0.06, 0.1, 0.15, 0.2)


@dataclasses.dataclass(frozen=True, slots=True, kw_only=True)
class Widths:
    """Two widths, and how the rates by them compare with plain counts.

    Attributes
    ----------
    reserve_ratio, nose_ratio : float
        Widths of the logistic distributions.
    order : float
        Spearman's rank correlation of estimated and counted rates.
    slope : float
        Of the logarithms, counted by estimated; 1 where they are in proportion.
    per_nearness : float
        Counted nose-downs over the sum of nearness: what makes the mean of both rates the same.
    """

    reserve_ratio: float
    nose_ratio: float
    order: float
    slope: float
    per_nearness: float


def rank_order(estimated: Floats, counted: Floats) -> float:
    """Return Spearman's rank correlation; NaN where either does not differ between profiles."""
    if np.ptp(estimated) == 0.0 or np.ptp(counted) == 0.0:
        return float("nan")
    return float(spearmanr(estimated, counted).statistic)


def _slope(estimated: Floats, counted: Floats) -> float:
    """Return the slope of the logarithms over profiles with a count; NaN where none has."""
    some = counted > 0.0
    if np.count_nonzero(some) < 2:
        return float("nan")
    return float(np.polyfit(np.log(estimated[some]), np.log(counted[some]), 1)[0])


def scanned(
    reserve_ratio: Floats,
    nose_margin_ratio: Floats,
    outcome: Codes,
    day: DayRules,
    *,
    counted: Floats,
    reserve_widths: Sequence[float] = RESERVE_WIDTHS,
    nose_widths: Sequence[float] = NOSE_WIDTHS,
) -> list[Widths]:
    """Return all pairs of widths, those of the best order first.

    Parameters
    ----------
    reserve_ratio, nose_margin_ratio : (profile, hard ride) float64
        As of `objectives.nose_down_rate.margin_widths`.
    outcome : (profile, hard ride) int8
    day : DayRules
    counted : (profile,) float64
        Nose-downs per 1,000 km on other days.
    reserve_widths, nose_widths : sequence of float
    """
    share = day.kilometres / day.kilometres.sum()
    found = []
    for reserve, nose in itertools.product(reserve_widths, nose_widths):
        # A margin in units of another width is another margin in units of the usual one.
        widths = margin_widths(
            reserve_ratio * (RESERVE_WIDTH_RATIO / reserve),
            nose_margin_ratio * (NOSE_WIDTH_RATIO / nose),
            outcome,
        )
        rate = weighted_sum(rates_by_rider(nearness(widths), day), share)
        found.append(
            Widths(
                reserve_ratio=reserve,
                nose_ratio=nose,
                order=rank_order(rate, counted),
                slope=_slope(rate, counted),
                per_nearness=NOSE_DOWNS_PER_NEARNESS * float(counted.sum() / rate.sum()),
            )
        )
    return sorted(found, key=lambda widths: -widths.order)


def widths_report(found: Sequence[Widths]) -> str:
    """Return a line for each pair of widths, as text; the pair in use is marked."""
    lines = [f"{'reserve':>8s}{'nose':>8s}{'Spearman':>10s}{'slope':>8s}{'per nearness':>14s}"]
    for widths in found:
        used = (widths.reserve_ratio, widths.nose_ratio) == (RESERVE_WIDTH_RATIO, NOSE_WIDTH_RATIO)
        lines.append(
            f"{widths.reserve_ratio:8.3f}{widths.nose_ratio:8.3f}{widths.order:10.3f}"
            f"{widths.slope:8.2f}{widths.per_nearness:14.3f}{'  in use' if used else ''}"
        )
    return "\n".join(lines) + "\n"
