"""Scatter of estimates by a block bootstrap over time.

Residuals of a ride hang together over seconds, so whole blocks of time are drawn anew. Each draw
takes one Gauss-Newton step from the fit (a one-step bootstrap: Shao & Tu 1995, The Jackknife and
Bootstrap, section 4.3; from memory), which costs a small linear solve.
"""

import dataclasses
import math

import numpy as np
from scipy.stats import t as student

from plant.arrays import Floats

CONFIDENCE = 0.95
_DRAWS = 600
_FEWEST_BLOCKS = 12
_HOLD_WEIGHT = 0.01  # of a row: at one, intervals of invented rides were half as wide


@dataclasses.dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Blocks:
    """Second derivatives and slopes of the loss, block by block of time.

    Attributes
    ----------
    gram : (block, unknown, unknown) float64
    pull : (block, unknown) float64
    """

    gram: Floats
    pull: Floats

    @property
    def curvature(self) -> Floats:
        """Return the second derivatives over all blocks, (unknown, unknown)."""
        return np.asarray(self.gram.sum(axis=0))

    def draws(self, held: float) -> Floats:
        """Return draws of the estimate's error, (draw, unknown).

        A draw may leave out the only block that shows an unknown, which rounding errors would then
        move. So a row holds each unknown as in the search (`cauchy_loss`), by `held` per unit, but
        counts little, as it would narrow the intervals.
        """
        n_blocks, n_unknowns = self.pull.shape
        random = np.random.default_rng(n_blocks)
        counts = random.multinomial(n_blocks, np.full(n_blocks, 1.0 / n_blocks), size=_DRAWS)
        grams = np.einsum("db,bij->dij", counts, self.gram)
        hold = _HOLD_WEIGHT * held**2 * np.eye(n_unknowns)
        pulls = counts @ (self.pull - self.pull.mean(axis=0))
        return -np.linalg.solve(grams + hold, pulls[:, :, None])[:, :, 0]

    def half_width(self, draws: Floats) -> Floats:
        """Return half of the intervals, (unknown,)."""
        n_blocks, n_unknowns = self.pull.shape
        freedom = max(n_blocks - n_unknowns, 1)
        spread = 0.5 * (np.quantile(draws, 0.8413, axis=0) - np.quantile(draws, 0.1587, axis=0))
        wider = math.sqrt(n_blocks / freedom)
        half: Floats = student.ppf(0.5 + 0.5 * CONFIDENCE, freedom) * wider * spread
        return half


def blocks_of(jacobian: Floats, residual: Floats, scale: float, block_rows: int) -> Blocks:
    """Return the blocks of a fit with Cauchy's loss.

    Parameters
    ----------
    jacobian : (row, unknown) float64
        Derivatives of the residuals, rows in the order of time.
    residual : (row,) float64
    scale : float
        Residual from which a row counts less.
    block_rows : int
        Rows of a block; shorter where there would be too few blocks.
    """
    square = (residual / scale) ** 2
    weight = 1.0 / (1.0 + square)  # first and second derivative of Cauchy's loss
    curvature = (1.0 - square) * weight**2
    n_rows, n_unknowns = jacobian.shape
    n_blocks = min(max(n_rows // block_rows, _FEWEST_BLOCKS), n_rows)
    block = np.minimum(np.arange(n_rows) * n_blocks // n_rows, n_blocks - 1)
    gram = np.zeros((n_blocks, n_unknowns, n_unknowns))
    pull = np.zeros((n_blocks, n_unknowns))
    for number in range(n_blocks):
        rows = jacobian[block == number]
        gram[number] = rows.T @ (curvature[block == number, None] * rows)
        pull[number] = rows.T @ (weight[block == number] * residual[block == number])
    return Blocks(gram=gram, pull=pull)
