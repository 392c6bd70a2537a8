"""Two fronts judged by what was counted: dominated volume and dominated members."""

import dataclasses
from collections.abc import Mapping

import moocore
import numpy as np

from plant.arrays import Flags, Floats
from tests.benchmarks.markdown import table
from tests.benchmarks.search_problems import share_of_front


@dataclasses.dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Judged:
    """Members of a front with what was counted of them.

    Attributes
    ----------
    n_all : int
        Members of the whole front.
    held : (member, 2) float64
        Level error and current.
    n_down : (member,) float64
        Counted nose-downs.
    rates : (day, member) float64
        Nose-downs per 1,000 km: first as counted, then of days of resampled roads.
    """

    n_all: int
    held: Floats
    n_down: Floats
    rates: Floats

    def points(self, day: int = 0) -> Floats:
        """Return level error, current and counted rate, (member, 3)."""
        return np.column_stack([self.held, self.rates[day]])


def dominated(points: Floats, other: Floats) -> Flags:
    """Say which points another front's points match or beat in all, and beat in one, (point,)."""
    no_worse = (other[:, None, :] <= points[None, :, :]).all(axis=2)
    better = (other[:, None, :] < points[None, :, :]).any(axis=2)
    return np.asarray((no_worse & better).any(axis=0))


def volume_shares(fronts: list[Floats]) -> Floats:
    """Return the share of the volume of both fronts' merged front that each has, (front,)."""
    merged = moocore.filter_dominated(np.vstack(fronts))
    return np.array([share_of_front(front, merged) for front in fronts])


def judged_table(found: Mapping[str, Judged], head: str) -> str:
    """Return two fronts beside each other, as a table in Markdown.

    Parameters
    ----------
    found : mapping of str to Judged
        Two fronts by what they are called.
    head : str
        Of the table.
    """
    fronts = list(found.values())
    n_days = len(fronts[0].rates)
    volumes = np.array(
        [volume_shares([front.points(day) for front in fronts]) for day in range(n_days)]
    )
    low, high = np.quantile(volumes[1:], (0.025, 0.975), axis=0)
    lost = [
        int(dominated(front.points(), other.points()).sum())
        for front, other in zip(fronts, fronts[::-1], strict=True)
    ]
    wins = [float((volumes[1:, k] > volumes[1:, 1 - k]).mean()) for k in range(2)]
    rates = [front.rates[0] for front in fronts]
    rows = [
        ["members counted (of the front)", *(f"{len(f.held)} ({f.n_all})" for f in fronts)],
        ["nose-downs of a member, mean", *(f"{f.n_down.mean():.1f}" for f in fronts)],
        ["counted per 1,000 km, lowest; median; highest",
         *(f"{r.min():.2f}; {np.median(r):.2f}; {r.max():.2f}" for r in rates)],
        ["share of the merged volume (95 % over roads)",
         *(f"{volumes[0, k]:.2f} ({low[k]:.2f} to {high[k]:.2f})" for k in range(2))],
        ["resampled days on which it has more of it", *(f"{100.0 * win:.0f} %" for win in wins)],
        ["members that the other front dominates",
         *(f"{n} of {len(f.held)}" for n, f in zip(lost, fronts, strict=True))],
    ]  # fmt: skip
    return table([head, *found], rows)
