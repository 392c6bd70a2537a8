"""The front in pictures: all pairs of objectives, and its parameters side by side."""

import itertools

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from objectives import OBJECTIVES
from optimizer.analysis.results import Results
from optimizer.reports.signs import BLACK, LEAST_DRAWN, OBJECTIVE_LABELS, PICK_STYLE, SKY
from optimizer.reports.style import new_figure
from optimizer.search.evaluation import BASELINE
from optimizer.search.space import to_unit
from plant.arrays import Floats

_ROOM = 0.08  # around what is shown, of its width


def front_figure(results: Results) -> Figure:
    """Return the front in every pair of objectives, with the baseline and the named picks."""
    figure = new_figure(11.0, 4.4)
    pairs = list(itertools.combinations(range(len(OBJECTIVES)), 2))
    for axes, pair in zip(figure.subplots(1, len(pairs)), pairs, strict=True):
        _pair(axes, results, pair)
    handles, labels = figure.axes[0].get_legend_handles_labels()
    figure.legend(handles, labels, loc="outside upper center", ncols=4)
    return figure


def _pair(axes: Axes, results: Results, pair: tuple[int, int]) -> None:
    first, second = pair
    least = [LEAST_DRAWN.get(OBJECTIVES[place], -np.inf) for place in pair]
    points = np.maximum(results.history.objectives[:, pair], least)
    front = points[results.on_front]
    plain = results.feasible & ~results.on_front
    axes.scatter(
        points[plain, 0], points[plain, 1], s=4, color="0.8", label="meets every constraint"
    )
    axes.scatter(
        front[:, 0], front[:, 1], s=14, color=SKY, edgecolor="white", linewidth=0.3, label="front"
    )
    axes.scatter(
        points[BASELINE, 0],
        points[BASELINE, 1],
        s=90,
        marker="X",
        color=BLACK,
        label="baseline",
        zorder=4,
    )
    for name, number in results.picks.items():
        color, marker = PICK_STYLE[name]
        axes.scatter(
            points[number, 0],
            points[number, 1],
            s=80,
            marker=marker,
            facecolor="none",
            edgecolor=color,
            linewidth=2.0,
            label=f"{name} ({number})",
            zorder=5,
        )
    shown = np.vstack([front, points[BASELINE : BASELINE + 1]])
    for side, values, place in (("x", shown[:, 0], first), ("y", shown[:, 1], second)):
        _fit(axes, side, values, OBJECTIVES[place])


def _fit(axes: Axes, side: str, values: Floats, name: str) -> None:
    """Label an axis, and let it reach a little beyond some values."""
    low, high = float(values.min()), float(values.max())
    is_log = name in LEAST_DRAWN
    if is_log:
        ratio = max(high / low, 1.1) ** _ROOM
        ends = low / ratio, high * ratio
    else:
        room = _ROOM * max(high - low, 1e-9)
        ends = low - room, high + room
    axes.set(
        **{
            f"{side}label": OBJECTIVE_LABELS[name],
            f"{side}scale": "log" if is_log else "linear",
            f"{side}lim": ends,
        }
    )


def parallel_figure(results: Results) -> Figure:
    """Return parallel coordinates of the front: each parameter over its searched range."""
    space = results.study.space
    unit = to_unit(space, results.history.values)
    figure = new_figure(11.0, 6.2)
    axes = figure.subplots()
    place = np.arange(len(space.names))
    axes.plot(place, unit[results.on_front].T, color=SKY, alpha=0.25, linewidth=0.7)
    axes.plot(place, unit[BASELINE], color=BLACK, linewidth=1.8, label="baseline")
    for name, number in results.picks.items():
        color, marker = PICK_STYLE[name]
        axes.plot(
            place,
            unit[number],
            color=color,
            marker=marker,
            markersize=4,
            linewidth=1.3,
            label=f"{name} ({number})",
        )
    labels = [
        f"{name}  [{low:.4g} … {high:.4g}]"
        for name, low, high in zip(space.names, space.low, space.high, strict=True)
    ]
    axes.set_xticks(place, labels, rotation=60, ha="right", fontsize=7.5)
    axes.set_yticks([0.0, 0.5, 1.0], ["low bound", "middle", "high bound"])
    axes.set_xlim(-0.5, len(place) - 0.5)
    figure.legend(loc="outside upper center", ncols=6)
    return figure
