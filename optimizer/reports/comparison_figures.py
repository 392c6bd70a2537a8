"""Profiles side by side: traces of the rides that differ, and the linearised loop."""

from typing import Any

import numpy as np
from matplotlib.figure import Figure

from objectives.scoring_context import asked_speeds
from optimizer.analysis.comparison import Comparison
from optimizer.reports.signs import BLACK, BLUE, GREEN, ORANGE, PURPLE, SKY, VERMILION
from optimizer.reports.style import new_figure
from plant.kernel.trace import trace
from plant.linear.balance_loop import (
    GAIN_POINTS,
    loop_gains,
    loop_margins,
    loop_plant,
    loop_transfer,
)

_STYLES = (
    (BLACK, "-"), (VERMILION, "--"), (BLUE, "-."), (GREEN, ":"), (PURPLE, "-"), (ORANGE, "--"),
    (SKY, "-."),
)  # fmt: skip
MOST_PROFILES = len(_STYLES)
_TRACE_EVERY_STEPS = 10


def traces_figure(comparison: Comparison, rides: list[int]) -> Figure:
    """Return pitch, current and speed of every profile over some rides."""
    figure = new_figure(4.6 * max(len(rides), 1), 7.5)
    grid = figure.subplots(3, max(len(rides), 1), sharex="col", squeeze=False)
    for column, place in enumerate(rides):
        ride = comparison.study.rides[place]
        for name, profile, (color, style) in zip(
            comparison.names, comparison.profiles, _STYLES, strict=False
        ):
            ridden = trace(profile, ride, every_steps=_TRACE_EVERY_STEPS)
            for axes, signal in zip(
                grid[:, column], (ridden.pitch_deg, ridden.current_a, ridden.speed_mps), strict=True
            ):
                axes.plot(ridden.time_s, signal, color=color, linestyle=style, label=name)
        grid[0, column].set_title(ride.name, fontsize=9)
        grid[2, column].set_xlabel("time / s")
    for axes, label in zip(
        grid[:, 0], ("pitch, nose down / deg", "current / A", "speed / m/s"), strict=True
    ):
        axes.set_ylabel(label)
    figure.legend(*grid[0, 0].get_legend_handles_labels(), loc="outside upper center", ncols=4)
    return figure


def loop_figure(comparison: Comparison) -> Figure:
    """Return Bode and Nyquist plots of each profile's loop, for its rider of least margin."""
    study = comparison.study
    riders = list(study.named_variants)
    plant = loop_plant(
        study.board, list(study.named_variants.values()), speeds_mps=asked_speeds(study.rides)
    )
    gains = loop_gains(comparison.profiles)
    margins, transfer = loop_margins(plant, gains), loop_transfer(plant, gains)
    on_axis = plant.laplace_radps.real == 0.0
    hertz = plant.laplace_radps.imag[on_axis] / (2.0 * np.pi)
    figure = new_figure(12.0, 6.0)
    axes = figure.subplot_mosaic([["gain", "nyquist"], ["phase", "nyquist"]])
    for number, (name, (color, style)) in enumerate(zip(comparison.names, _STYLES, strict=False)):
        point, lane = np.unravel_index(
            int(np.argmin(margins.modulus[number])), margins.modulus[number].shape
        )
        loop = transfer[number, point, lane][on_axis]
        label = (
            f"{name}: {GAIN_POINTS[point]} gain, {riders[int(lane) % len(riders)]}, sensitivity"
            f" {margins.max_sensitivity[number, point, lane]:.2f}, phase margin"
            f" {margins.phase_deg[number, point, lane]:.0f} deg, gain margin"
            f" x{margins.gain_up_ratio[number, point, lane]:.2f}"
        )
        look: dict[str, Any] = {"color": color, "linestyle": style, "linewidth": 1.3}
        axes["gain"].plot(hertz, 20.0 * np.log10(np.abs(loop)), label=label, **look)
        axes["phase"].plot(hertz, np.degrees(np.unwrap(np.angle(loop))), **look)
        axes["nyquist"].plot(loop.real, loop.imag, **look)
    axes["gain"].set_ylabel("|L| / dB")
    axes["phase"].set_ylabel("phase of L / deg")
    axes["phase"].set_xlabel("frequency / Hz")
    for part in ("gain", "phase"):
        axes[part].set_xscale("log")
    axes["gain"].axhline(0.0, color="0.5", linewidth=0.8)
    angle = np.linspace(0.0, 2.0 * np.pi, 200)
    least = 1.0 / study.settings.sensitivity_limit
    axes["nyquist"].plot(
        -1.0 + least * np.cos(angle), least * np.sin(angle), color="0.5", linewidth=0.8
    )
    axes["nyquist"].plot([-1.0], [0.0], "+", color=BLACK, markersize=10)
    axes["nyquist"].set_xlim(-3.5, 1.5)
    axes["nyquist"].set_ylim(-2.5, 2.5)
    axes["nyquist"].set_aspect("equal")
    axes["nyquist"].set_xlabel("real part of L")
    axes["nyquist"].set_ylabel(
        f"imaginary part (circle: sensitivity {study.settings.sensitivity_limit:g})"
    )
    figure.legend(*axes["gain"].get_legend_handles_labels(), loc="outside upper center", ncols=1)
    return figure
