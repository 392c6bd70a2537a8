"""What each parameter does around a profile, as bars to either side."""

import numpy as np
from matplotlib.figure import Figure

from objectives import OBJECTIVES
from optimizer.analysis.sensitivity import STEP, Sensitivity
from optimizer.reports.signs import BLUE, OBJECTIVE_LABELS, VERMILION
from optimizer.reports.style import new_figure

_SHOWN = 16
_SIDES = ((BLUE, "lowered", 0.19, "///"), (VERMILION, "raised", -0.19, ""))


def sensitivity_figure(found: Sensitivity, *, called: str) -> Figure:
    """Return the change of each objective when a parameter is moved down and up by itself.

    The parameters are those that move the weighted cost most, the first at the top. A cross on the
    axis marks a moved profile that fails a constraint.
    """
    order = np.argsort(-found.effect, kind="stable")[:_SHOWN][::-1]
    figure = new_figure(12.0, 1.6 + 0.3 * len(order))
    figure.suptitle(
        f"{called}: one parameter at a time, by {100 * STEP:.0f} % of its searched range"
    )
    panels = figure.subplots(1, len(OBJECTIVES), sharey=True)
    place = np.arange(len(order))
    for column, (axes, objective) in enumerate(zip(panels, OBJECTIVES, strict=True)):
        for side, (color, name, shift, hatch) in enumerate(_SIDES):
            change = found.moved_objectives[side, order, column] - found.objectives[column]
            axes.barh(
                place + shift,
                change,
                height=0.36,
                color=color,
                label=name,
                hatch=hatch,
                edgecolor="white",
            )
            fails = place[~found.meets[side, order]] + shift
            axes.plot(np.zeros_like(fails), fails, "x", color="black", markersize=5, zorder=3)
        axes.locator_params(axis="x", nbins=5)
        axes.axvline(0.0, color="0.3", linewidth=0.8)
        axes.set_title(f"change of\n{OBJECTIVE_LABELS[objective]}", fontsize=8.5)
        axes.set_yticks(place, [found.names[row] for row in order], fontsize=7.5)
    panels[-1].plot([], [], "x", color="black", markersize=5, label="fails a constraint")
    panels[-1].legend(loc="lower right")
    return figure
