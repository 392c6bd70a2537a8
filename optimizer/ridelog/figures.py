"""Figures of a log: residuals and intervals of its fits, and a replay over what was measured."""

from pathlib import Path

import numpy as np

from optimizer.reports.signs import BLUE, VERMILION
from optimizer.reports.style import new_figure, save, styled
from optimizer.ridelog.fits.all_fits import Fits
from optimizer.ridelog.fits.robust_fit import Fit
from optimizer.ridelog.replay import Compared

_MOST_POINTS = 4000
_WIDEST = 100.0  # % of the value, where the axis of the intervals ends


def draw_residuals(fits: Fits, stem: Path) -> list[Path]:
    """Draw what each fit leaves over, over time and as a histogram."""
    made = {subject: fit for subject, fit in fits.items() if isinstance(fit, Fit)}
    with styled():
        figure = new_figure(8.5, 1.5 * len(made) + 0.5)
        axes = figure.subplots(len(made), 2, squeeze=False, width_ratios=[4.0, 1.0], sharex="col")
        for (over_time, spread), (subject, fit) in zip(axes, made.items(), strict=True):
            every = max(len(fit.residual) // _MOST_POINTS, 1)
            # A glitch of the log must not flatten the rest; what lies outside is counted.
            edge = 8.0 * float(np.median(np.abs(fit.residual))) + 1e-12
            outside = int(np.count_nonzero(np.abs(fit.residual) > edge))
            shown = fit.residual[::every]
            over_time.plot(fit.time_s[::every], shown, ".", markersize=1.5, color=BLUE)
            over_time.axhline(0.0, color="0.3", linewidth=0.8)
            over_time.set_ylim(-edge, edge)
            over_time.set_ylabel(f"{fit.residual_unit}")
            over_time.set_title(f"{subject} ({outside} outside)", loc="left", fontsize=9.0)
            spread.hist(
                np.clip(fit.residual, -edge, edge), bins=50, orientation="horizontal", color=BLUE
            )
            spread.set_ylim(-edge, edge)
            spread.set_xticks([])
        axes[-1, 0].set_xlabel("time / s")
        figure.suptitle("Residuals: measured minus fitted", fontsize=10.0)
        return save(figure, stem)


def draw_intervals(fits: Fits, stem: Path) -> list[Path]:
    """Draw the 95 % interval of every estimate, in percent of its value, fit by fit."""
    made = {subject: fit for subject, fit in fits.items() if isinstance(fit, Fit)}
    labels: list[str] = []
    with styled():
        figure = new_figure(8.0, 0.24 * sum(len(fit.names) + 1 for fit in made.values()) + 1.0)
        axes = figure.subplots()
        for subject, fit in made.items():
            labels.append(subject.upper())
            for name, value, low, high in zip(fit.names, fit.value, fit.low, fit.high, strict=True):
                size = max(abs(float(value)), 1e-12)
                ends = np.clip(
                    np.array([low - value, high - value]) / size * 100.0, -_WIDEST, _WIDEST
                )
                axes.plot(
                    ends,
                    [len(labels)] * 2,
                    color=VERMILION if high - low > size else BLUE,
                    linewidth=3.0,
                    solid_capstyle="butt",
                )
                axes.plot(0.0, len(labels), "|", color="0.2", markersize=8.0)
                labels.append(f"{name} = {value:.4g}")
        axes.set_yticks(range(len(labels)), labels, fontsize=8.0)
        axes.set_xscale("symlog", linthresh=1.0)
        axes.set_xlim(-1.05 * _WIDEST, 1.05 * _WIDEST)
        axes.set_ylim(len(labels) - 0.4, -0.6)
        ticks = [-100, -10, -1, 0, 1, 10, 100]
        axes.set_xticks(ticks, [str(tick) for tick in ticks])
        axes.set_xlabel("95 % interval / % of the value (orange: wider than the value)")
        return save(figure, stem)


def draw_overlay(compared: list[Compared], stem: Path) -> list[Path]:
    """Draw measured and predicted over time, one panel for each signal."""
    with styled():
        figure = new_figure(9.0, 1.7 * len(compared) + 0.5)
        axes = figure.subplots(len(compared), 1, sharex=True, squeeze=False)[:, 0]
        for panel, one in zip(axes, compared, strict=True):
            panel.plot(one.time_s, one.measured, color="0.2", linewidth=1.4, label="measured")
            panel.plot(one.time_s, one.predicted, color=VERMILION, linewidth=1.0, label="predicted")
            panel.fill_between(one.time_s, one.measured, one.predicted, color=BLUE, alpha=0.15)
            panel.set_ylabel(f"{one.name.rpartition('_')[0]} / {one.unit}")
            panel.set_title(one.in_words(), loc="right", fontsize=8.0)
        axes[0].legend(loc="upper left", ncols=2, fontsize=8.0)
        axes[-1].set_xlabel("time / s (means over a second)")
        return save(figure, stem)
