"""Rides as moving pictures: each from the side, above the signals that belong to it."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from matplotlib.artist import Artist
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Circle, Polygon
from matplotlib.text import Text
from matplotlib.transforms import Affine2D

from optimizer.reports.film.side_view import (
    FRAME_STEPS,
    GROUND_STEP_M,
    SideView,
    nose_clearance_m,
    side_view,
)
from optimizer.reports.signs import BLACK, BLUE, ORANGE, SKY, VERMILION
from optimizer.reports.style import new_figure, styled
from plant.arrays import Floats
from plant.constants import DT_S
from plant.kernel.simulate import Ride
from plant.kernel.trace import Trace, trace

FRAME_S = FRAME_STEPS * DT_S
DPI = 100  # at which a film is written
_SEEN_M = (1.75, 2.05, 0.55, 2.15)  # of the picture: behind, before, below and above the axle
_SPOKES = 3


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class FilmedRide:
    """One profile on one ride, with its signals at every frame.

    Attributes
    ----------
    called : str
    ride : Ride
    ridden : Trace
    view : SideView
    """

    called: str
    ride: Ride
    ridden: Trace
    view: SideView

    @property
    def clearance_m(self) -> Floats:
        """Height of the nose over the ground, (frame,)."""
        board = self.ride.board
        return nose_clearance_m(self.ridden.ground_pitch_deg, wheel=board.wheel, frame=board.frame)


def filmed(called: str, profile: Floats, ride: Ride) -> FilmedRide:
    """Simulate a profile on a ride, to be looked at.

    Parameters
    ----------
    called : str
        What to call the profile.
    profile : (parameter,) float64
    ride : Ride
    """
    ridden = trace(profile, ride, every_steps=FRAME_STEPS)
    return FilmedRide(called=called, ride=ride, ridden=ridden, view=side_view(ride, ridden))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Film:
    """A figure and what changes in it.

    Attributes
    ----------
    figure : Figure
    n_frames : int
        Until the last of the rides ends; a ride that ended before stands still.
    show : callable
        Moves everything to a frame.
    """

    figure: Figure
    n_frames: int
    show: Callable[[int], None]


@styled()
def film(rides: Sequence[FilmedRide]) -> Film:
    """Return one ride of one or two profiles as a film.

    Parameters
    ----------
    rides : sequence of FilmedRide
        The same ride by each; the first is the one that it is about.
    """
    figure = new_figure(9.6, 8.4)
    parts: Any = figure.subfigures(2, 1, height_ratios=(1.0, 1.3))
    scenes, panels = parts
    colors = (VERMILION, BLACK)
    movers = []
    for axes, ridden, color in zip(
        scenes.subplots(1, len(rides), squeeze=False)[0], rides, colors, strict=False
    ):
        movers.append(_scene(axes, ridden, color))
    grid: list[Axes] = [*panels.subplots(3, 2, sharex=True).ravel()]
    for ridden, color in reversed(list(zip(rides, colors, strict=False))):
        _draw_signals(grid, ridden, color)
    cursors = [axes.axvline(0.0, color=BLUE, linewidth=1.0) for axes in grid]
    _label(grid)
    ride = rides[0].ride
    title = scenes.suptitle(ride.name, fontsize=11)
    for move in movers:
        move(0)  # what is seen decides the layout
    _keep_as_picture(figure, grid, cursors, title)

    def show(frame: int) -> None:
        now_s = (frame + 1) * FRAME_S
        title.set_text(f"{ride.course.title} / {ride.rider_name}, {now_s:.1f} s")
        for cursor in cursors:
            cursor.set_xdata([now_s, now_s])
        for move in movers:
            move(frame)

    return Film(figure=figure, n_frames=max(one.view.n_frames for one in rides), show=show)


def _keep_as_picture(
    figure: Figure, grid: Sequence[Axes], cursors: Sequence[Line2D], title: Text
) -> None:
    """Draw the panels once and lay their picture behind the cursors, which alone move.

    To lay out and draw panels anew takes several times as long as the rest of a frame.
    """
    canvas: Any = FigureCanvasAgg(figure)
    figure.set_dpi(DPI)
    figure.draw_without_rendering()  # lays out the scenes and what moves, too
    figure.set_layout_engine("none")
    for axes in figure.axes:
        axes.set_visible(axes in grid)
    moving = [*cursors, *figure.texts, title]
    for artist in moving:
        artist.set_visible(False)
    canvas.draw()
    picture = np.asarray(canvas.buffer_rgba()).copy()
    for artist in moving:
        artist.set_visible(True)
    for axes, cursor in zip(grid, cursors, strict=True):
        axes.set_axis_off()
        axes.set_title("", loc="left")
        for line in [line for line in axes.lines if line is not cursor]:
            line.remove()
    for axes in figure.axes:
        axes.set_visible(True)
    for part in figure.subfigs:
        part.set_facecolor("none")
    figure.figimage(picture, zorder=-1.0)


def _scene(axes: Axes, ridden: FilmedRide, color: str) -> Callable[[int], None]:
    """Draw one ride from the side; return what moves it to a frame."""
    view = ridden.view
    x_m = view.ground_from_m + GROUND_STEP_M * np.arange(len(view.ground_m))
    axes.fill_between(x_m, view.ground_m, view.ground_m.min() - 5.0, color="0.88")
    axes.plot(x_m, view.ground_m, color="0.35", linewidth=1.2)
    for way, x, z in view.posts_m:
        axes.plot([x, x], [z, z - 0.12], color="0.35", linewidth=0.8)
        axes.text(x, z - 0.16, f"{way:g} m", ha="center", va="top", fontsize=6.5, clip_on=True)
    axes.set_aspect("equal")
    axes.grid(visible=False)
    axes.set_xticks([])
    axes.set_yticks([])
    axes.spines[:].set_visible(False)
    board, rider, wheel = Affine2D(), Affine2D(), Affine2D()
    legs = _rider(axes, view, (rider, board), color)
    _board(axes, view, board, wheel)
    said = axes.text(0.02, 0.98, "", transform=axes.transAxes, va="top", fontsize=8)
    axes.set_title(ridden.called, fontsize=9, color=color)

    def move(frame: int) -> None:
        now = min(frame, view.n_frames - 1)
        x, _ = axle = view.axle_m[now]
        for part, degrees, at in (
            (board, view.pitch_deg[now], axle),
            (rider, view.lean_deg[now], axle + view.ankle_m[now]),
            (wheel, view.wheel_deg[now], axle),
        ):
            part.clear().rotate_deg(-degrees).translate(*at)
        for leg, ankle in zip(legs, view.board.ankles_m, strict=True):
            leg.set_data(*np.stack([ankle, view.hip_m[now]], axis=1))
        behind, before, below, above = _SEEN_M
        axes.set_xlim(x - behind, x + before)
        axes.set_ylim(view.camera_height_m[now] - below, view.camera_height_m[now] + above)
        said.set_text(_said(ridden, now, ended=frame >= view.n_frames - 1))

    return move


def _said(ridden: FilmedRide, now: int, *, ended: bool) -> str:
    signals = ridden.ridden
    lines = [
        f"nose {100.0 * max(ridden.clearance_m[now], 0.0):.1f} cm above the ground",
        f"{signals.speed_mps[now]:.1f} m/s",
    ]
    if signals.warning_lift_deg[now] > 0.0:
        lines.append("WARNING: the nose is lifted")
    if ended:
        lines.append(signals.outcome.message)
    return "\n".join(lines)


def _rider(
    axes: Axes, view: SideView, parts: tuple[Affine2D, Affine2D], color: str
) -> list[Line2D]:
    """Draw the rider on a board; return the legs, which move in the axes of the board."""
    rider, board = parts
    shape = view.rider
    upper = [
        Polygon(shape.torso_m, facecolor=color, edgecolor=color, joinstyle="round", alpha=0.85),
        Circle((shape.head_m[0], shape.head_m[1]), shape.head_radius_m, color=color, alpha=0.85),
    ]
    for patch in upper:
        _add(axes, patch, rider)
    for arm in shape.arms_m:
        _add(axes, Line2D(*arm.T, color=color, linewidth=3.5, solid_capstyle="round"), rider)
    com = Line2D([0.0], [shape.com_height_m], marker="o", color="white", markersize=4.0)
    _add(axes, com, rider)
    legs = [Line2D([], [], color=color, linewidth=5.0, solid_capstyle="round") for _ in range(2)]
    for leg in legs:
        _add(axes, leg, board)
    return legs


def _board(axes: Axes, view: SideView, board: Affine2D, wheel: Affine2D) -> None:
    shape = view.board
    radius = shape.wheel_radius_m
    tyre = Circle((0.0, 0.0), radius, facecolor="0.75", edgecolor="0.2", linewidth=2.0)
    _add(axes, tyre, wheel)
    for spoke in range(_SPOKES):
        end = radius * np.array([np.cos(spoke * np.pi / _SPOKES), np.sin(spoke * np.pi / _SPOKES)])
        line = Line2D([-end[0], end[0]], [-end[1], end[1]], color="0.45", linewidth=1.0)
        _add(axes, line, wheel)
    _add(axes, Polygon(shape.deck_m, facecolor=SKY, edgecolor="0.15", linewidth=1.0), board)
    nose = Line2D(*shape.deck_m[:1].T, marker="o", color=ORANGE, markersize=5.0)
    _add(axes, nose, board)


def _add(axes: Axes, artist: Artist, part: Affine2D) -> None:
    artist.set_transform(part + axes.transData)
    axes.add_artist(artist)
    artist.set_clip_path(axes.patch)


def _draw_signals(grid: Sequence[Axes], ridden: FilmedRide, color: str) -> None:
    """Draw the signals of one ride into six panels."""
    signals = ridden.ridden
    time = signals.time_s
    pitch, clearance, current, speed, warning, load = grid
    pitch.plot(time, signals.pitch_deg, color=color)
    pitch.plot(time, signals.wanted_pitch_deg, color=color, linestyle=":")
    clearance.plot(time, 100.0 * ridden.clearance_m, color=color)
    current.plot(time, signals.current_a, color=color, linewidth=0.9)
    current.plot(time, signals.available_current_a, color=color, linestyle="--", linewidth=0.7)
    speed.plot(time, signals.speed_mps, color=color)
    speed.plot(time, signals.wanted_speed_mps, color=color, linestyle=":", linewidth=0.8)
    warning.plot(time, signals.warning_lift_deg, color=color)
    load.plot(time, signals.lean_deg, color=color)


def _label(grid: Sequence[Axes]) -> None:
    titles = (
        "pitch, nose down; dotted: setpoint / deg",
        "nose above the ground / cm",
        "current; dashed: available / A",
        "speed; dotted: wanted / m/s",
        "nose lift of the warning / deg",
        "rider's lean, forwards / deg",
    )
    for axes, title in zip(grid, titles, strict=True):
        axes.set_title(title, fontsize=8, loc="left", pad=3)
    grid[1].axhline(0.0, color="0.5", linestyle="--", linewidth=0.8)
    for axes in grid[-2:]:
        axes.set_xlabel("time / s")
