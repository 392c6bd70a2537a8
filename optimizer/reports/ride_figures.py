"""One profile in pictures: its rides, its stiffness curve, and traces against the baseline."""

import numpy as np
from matplotlib.figure import Figure
from numpy.typing import NDArray

from objectives import RIDE_COSTS
from optimizer.analysis.candidate import candidate_profile, worst_rides
from optimizer.analysis.results import Results
from optimizer.reports.signs import BLACK, RIDE_COST_LABELS, VERMILION
from optimizer.reports.style import new_figure
from optimizer.search.evaluation import BASELINE
from plant.kernel.trace import Trace, trace
from plant.stiffness import stiffness_curve

_TRACE_EVERY_STEPS = 10


def heat_figure(results: Results, number: int) -> Figure:
    """Return a map of riders and courses for each cost of a candidate's rides."""
    study = results.study
    riders, courses = list(study.riders), list(study.courses)
    figure = new_figure(11.0, 1.6 + 0.26 * len(courses))
    figure.suptitle(f"{_called(results, number)}: every ride, larger is worse")
    panels = figure.subplots(1, len(RIDE_COSTS), sharey=True)
    for axes, name in zip(panels, RIDE_COSTS, strict=True):
        grid = np.full((len(courses), len(riders)), np.nan)
        for ride, value in zip(study.rides, results.ride_column(name, number), strict=True):
            grid[courses.index(ride.course.name), riders.index(ride.rider_name)] = value
        image = axes.imshow(np.ma.masked_invalid(grid), aspect="auto", cmap="cividis")
        axes.grid(visible=False)
        axes.set_xticks(range(len(riders)), riders, rotation=40, ha="right")
        axes.set_yticks(range(len(courses)), courses)
        axes.set_title(RIDE_COST_LABELS[name], fontsize=9)
        middle = float(np.nanmean([np.nanmin(grid), np.nanmax(grid)]))
        for (row, column), value in np.ndenumerate(grid):
            if np.isfinite(value):
                color = "white" if value < middle else "black"
                text = f"{value:.2g}" if value < 10 else f"{value:.0f}"
                axes.text(column, row, text, ha="center", va="center", fontsize=6.5, color=color)
        figure.colorbar(image, ax=axes, shrink=0.6)
    return figure


def stiffness_figure(results: Results, number: int) -> Figure:
    """Return current over pitch error of a candidate and the baseline, riding and braking."""
    figure = new_figure(6.4, 4.4)
    axes = figure.subplots()
    limit = results.study.board.drive.phase_current_limit_a
    error = np.linspace(-18.0, 18.0, 721)
    for which, color, name in (
        (BASELINE, BLACK, "baseline"),
        (number, VERMILION, _called(results, number)),
    ):
        riding, braking = stiffness_curve(candidate_profile(results, which), error)
        axes.plot(error, riding, color=color, label=name)
        axes.plot(error, braking, color=color, linestyle=":", label=f"{name}, braking")
    for side in (-limit, limit):
        axes.axhline(side, color="0.5", linestyle="--", linewidth=0.8)
    axes.set_ylim(-1.15 * limit, 1.15 * limit)
    axes.set_xlabel("pitch error, nose below the setpoint / deg")
    axes.set_ylabel("current by stiffness / A (dashed: phase current limit)")
    axes.legend()
    return figure


def traces_figure(results: Results, number: int) -> Figure:
    """Return the time traces of a candidate's worst rides against the baseline."""
    rides = worst_rides(results, number)
    figure = new_figure(4.0 * len(rides), 9.0)
    grid = figure.subplots(4, len(rides), sharex="col", squeeze=False)
    for column, ride in enumerate(rides):
        for which, color in ((BASELINE, BLACK), (number, VERMILION)):
            profile = candidate_profile(results, which)
            name = "baseline" if which == BASELINE else _called(results, number)
            ridden = trace(profile, ride, every_steps=_TRACE_EVERY_STEPS)
            _draw(grid[:, column], ridden, color=color, name=name)
        grid[0, column].set_title(ride.name)
        nose = ride.board.frame.nose_contact_deg
        grid[0, column].axhline(nose, color="0.5", linestyle="--", linewidth=0.8)
        grid[3, column].set_xlabel("time / s")
    handles, labels = grid[0, 0].get_legend_handles_labels()
    figure.legend(handles, labels, loc="outside upper center", ncols=4)
    return figure


def _draw(panels: NDArray[np.object_], ridden: Trace, *, color: str, name: str) -> None:
    """Draw one ride into a column of four panels."""
    pitch, current, speed, reserve = panels
    time = ridden.time_s
    pitch.plot(time, ridden.ground_pitch_deg, color=color, label=f"{name}: pitch to the ground")
    pitch.plot(time, ridden.wanted_pitch_deg, color=color, linestyle=":", label=f"{name}: setpoint")
    current.plot(time, ridden.current_a, color=color, linewidth=0.9)
    current.plot(time, ridden.available_current_a, color=color, linestyle="--", linewidth=0.7)
    speed.plot(time, ridden.speed_mps, color=color)
    speed.plot(time, ridden.wanted_speed_mps, color=color, linestyle=":", linewidth=0.8)
    reserve.plot(time, ridden.torque_reserve_ratio, color=color)
    reserve.axhline(0.0, color="0.5", linewidth=0.6)
    speed.axhline(0.0, color="0.5", linewidth=0.6)
    for axes, label in (
        (pitch, "pitch, nose down / deg"),
        (current, "current, dashed: available / A"),
        (speed, "speed, dotted: wanted / m/s"),
        (reserve, "torque reserve / phase limit"),
    ):
        if axes.get_subplotspec().is_first_col():
            axes.set_ylabel(label)


def _called(results: Results, number: int) -> str:
    names = results.pick_names(number)
    return f"{names[0]} ({number})" if names else f"candidate {number}"
