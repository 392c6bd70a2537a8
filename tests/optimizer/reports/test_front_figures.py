"""The front in pictures: what of it is drawn, and where."""

import numpy as np

from objectives import OBJECTIVES
from optimizer.analysis.results import read_results
from optimizer.reports.front_figures import front_figure
from optimizer.study.load import load_study


def test_the_rate_has_a_logarithmic_axis_and_every_pick_and_the_baseline_lie_inside(
    finished,
):
    results = read_results(load_study(finished))
    figure = front_figure(results)
    rate = OBJECTIVES.index("nose_downs_per_1000_km")
    drawn = results.history.objectives.copy()
    drawn[:, rate] = np.maximum(drawn[:, rate], 1e-4)
    numbers = [0, *results.picks.values()]

    for axes, (first, second) in zip(figure.axes, ((0, 1), (0, 2), (1, 2)), strict=True):
        assert axes.get_xscale() == "linear"
        assert axes.get_yscale() == ("log" if second == rate else "linear")
        for low_high, place in ((axes.get_xlim(), first), (axes.get_ylim(), second)):
            values = drawn[numbers, place]
            assert np.all((low_high[0] <= values) & (values <= low_high[1]))
