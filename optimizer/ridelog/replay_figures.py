"""Predicted over measured, signal by signal."""

from pathlib import Path

from optimizer.reports.style import BLUE, VERMILION, new_figure, save, styled
from optimizer.ridelog.replay import Compared


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
