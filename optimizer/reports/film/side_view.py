"""A ride seen from the side: what board and rider look like, and where they are in each frame.

This is the one home of the drawing's geometry. The page's script and matplotlib move rigid parts to
the places given here. x is forwards and z up, in m; the board's parts stand relative to the axle,
the rider's relative to the middle between the ankles.
"""

import math
from dataclasses import dataclass

import numpy as np

from plant.arrays import Floats
from plant.description.board import Frame, Wheel
from plant.description.rider import Rider
from plant.kernel.course_tables import course_tables
from plant.kernel.road import TABLE_STEP_M
from plant.kernel.simulate import Ride
from plant.kernel.trace import Trace

FRAME_STEPS = 40  # ms from one frame to the next: 25 frames a second
GROUND_STEP_M = 0.05
_BEFORE_M, _BEYOND_M = 4.0, 5.0  # of the road, around what is ridden
_POST_EVERY_M = 5.0
_DECK_THICKNESS_M = 0.035  # assumed: it is drawn only
_CAMERA_S = 0.6  # the camera follows the height of the road, and not its roughness

# Heights over stature, and widths: Drillis and Contini 1966, as in Winter's handbook; from memory.
_ANKLE, _HIP, _SHOULDER, _CHIN = 0.039, 0.530, 0.818, 0.870
_SHOULDERS, _HIPS = 0.259, 0.191
_ARM = 0.186 + 0.146
_ARM_SPREAD_RAD = 0.45  # assumed: arms held out a little


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class BoardShape:
    """The board in its own axes: the straight deck is at the height of the axle.

    Attributes
    ----------
    wheel_radius_m : float
    deck_m : (4, 2) float64
        Corners; the first touches the ground at `nose_contact_deg`, the last at the tail's.
    ankles_m : (2, 2) float64
        Of the rider, the front one first.
    """

    wheel_radius_m: float
    deck_m: Floats
    ankles_m: Floats


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class RiderShape:
    """The rider from the hip up, upright, seen from the front.

    Attributes
    ----------
    torso_m : (4, 2) float64
        Corners: shoulders and hips.
    arms_m : (2, 2, 2) float64
        Shoulder and hand of each arm.
    head_m : (2,) float64
    head_radius_m, com_height_m : float
    """

    torso_m: Floats
    arms_m: Floats
    head_m: Floats
    head_radius_m: float
    com_height_m: float


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SideView:
    """A ride from the side.

    Attributes
    ----------
    board : BoardShape
    rider : RiderShape
    ground_from_m : float
        x of the first point of `ground_m`; a point every `GROUND_STEP_M`.
    ground_m : (point,) float64
        Height of the road as the tyre follows it, so that a kerb is an arc.
    posts_m : (post, 3) float64
        Ways of every 5 m on the road, and x and z of each.
    axle_m : (frame, 2) float64
        NaN after the ride ended, like all that follows.
    camera_height_m : (frame,) float64
        Height of the axle without what the road shakes.
    pitch_deg, lean_deg : (frame,) float64
        Of board and rider, nose down and forwards.
    wheel_deg : (frame,) float64
        How far the wheel has turned, from 0 to 360.
    ankle_m : (frame, 2) float64
        The middle between the ankles, about which the rider leans, from the axle.
    hip_m : (frame, 2) float64
        The rider's hip in the axes of the board.
    """

    board: BoardShape
    rider: RiderShape
    ground_from_m: float
    ground_m: Floats
    posts_m: Floats
    axle_m: Floats
    camera_height_m: Floats
    pitch_deg: Floats
    lean_deg: Floats
    wheel_deg: Floats
    ankle_m: Floats
    hip_m: Floats

    @property
    def n_frames(self) -> int:
        """Frames until the ride ends."""
        return int(np.count_nonzero(~np.isnan(self.pitch_deg)))


def nose_clearance_m(ground_pitch_deg: Floats, *, wheel: Wheel, frame: Frame) -> Floats:
    """Return how far the nose is above the ground, of the same shape; 0 where it touches.

    The deck is taken as straight and at the height of the axle, so that its end touches at
    `nose_contact_deg`. On a road that bends, the clearance is that over its tangent at the wheel.
    """
    contact = math.sin(math.radians(frame.nose_contact_deg))
    share = np.sin(np.radians(ground_pitch_deg)) / contact
    clearance: Floats = wheel.wheel_radius_m * (1.0 - share)
    return clearance


def side_view(ride: Ride, ridden: Trace) -> SideView:
    """Return a ride from the side.

    Parameters
    ----------
    ride : Ride
    ridden : Trace
        Of that ride, with a sample every `FRAME_STEPS`.
    """
    body = ride.rider.body
    road = _road(ride, ridden.distance_m)
    on_road = _at(road, ridden.distance_m)
    radius = ride.board.wheel.wheel_radius_m
    grade = np.arctan(ridden.grade_percent / 100.0)
    axle = on_road + radius * np.stack([-np.sin(grade), np.cos(grade)], axis=-1)
    pitch, lean = np.radians(ridden.pitch_deg), np.radians(ridden.lean_deg)
    ankle_height, hip_height = body.deck_height_m, (_HIP - _ANKLE) * body.stature_m
    ahead = lean - pitch
    x_m = np.arange(road[0, 1], road[-1, 1], GROUND_STEP_M)
    return SideView(
        board=board_shape(ride),
        rider=rider_shape(ride.rider),
        ground_from_m=float(x_m[0]),
        ground_m=np.interp(x_m, road[:, 1], road[:, 2]),
        posts_m=_posts(road),
        axle_m=axle,
        camera_height_m=_smoothed(axle[:, 1]),
        pitch_deg=ridden.pitch_deg,
        lean_deg=ridden.lean_deg,
        wheel_deg=np.degrees(ridden.distance_m / radius) % 360.0,
        ankle_m=ankle_height * np.stack([np.sin(pitch), np.cos(pitch)], axis=-1),
        hip_m=[0.0, ankle_height] + hip_height * np.stack([np.sin(ahead), np.cos(ahead)], axis=-1),
    )


def board_shape(ride: Ride) -> BoardShape:
    """Return what the board of a ride looks like, and where its rider stands."""
    frame, radius, body = ride.board.frame, ride.board.wheel.wheel_radius_m, ride.rider.body
    nose, tail = (
        radius / math.sin(math.radians(contact_deg))
        for contact_deg in (frame.nose_contact_deg, frame.tail_contact_deg)
    )
    top = _DECK_THICKNESS_M
    half = 0.5 * body.stance_m
    return BoardShape(
        wheel_radius_m=radius,
        deck_m=np.array([[nose, 0.0], [nose - top, top], [top - tail, top], [-tail, 0.0]]),
        ankles_m=np.array([[half, body.deck_height_m], [-half, body.deck_height_m]]),
    )


def rider_shape(rider: Rider) -> RiderShape:
    """Return what a rider looks like from the hip up."""
    stature = rider.body.stature_m
    shoulder, hip = ((height - _ANKLE) * stature for height in (_SHOULDER, _HIP))
    width, hips, arm = 0.5 * _SHOULDERS * stature, 0.5 * _HIPS * stature, _ARM * stature
    out, down = arm * math.sin(_ARM_SPREAD_RAD), arm * math.cos(_ARM_SPREAD_RAD)
    return RiderShape(
        torso_m=np.array([[-width, shoulder], [width, shoulder], [hips, hip], [-hips, hip]]),
        arms_m=np.array(
            [
                [[side * width, shoulder], [side * (width + out), shoulder - down]]
                for side in (1.0, -1.0)
            ]
        ),
        head_m=np.array([0.0, (0.5 * (1.0 + _CHIN) - _ANKLE) * stature]),
        head_radius_m=0.5 * (1.0 - _CHIN) * stature,
        com_height_m=rider.com_above_ankle_m,
    )


def _road(ride: Ride, distance_m: Floats) -> Floats:
    """Return the road around what is ridden, (point, 3): way, x and height from its begin."""
    table = course_tables(ride.course, ride.board.wheel).road
    known = distance_m[~np.isnan(distance_m)]
    nearest, furthest = (known.min(), known.max()) if len(known) else (0.0, 0.0)
    first = math.floor((nearest - _BEFORE_M) / TABLE_STEP_M)
    last = math.ceil((furthest + _BEYOND_M) / TABLE_STEP_M)
    places = np.arange(first, last + 1)
    rows = table[np.clip(places, 0, len(table) - 1)]
    grade = rows[:, 2]
    way = TABLE_STEP_M * places
    x, z = (TABLE_STEP_M * (np.cumsum(part) - part[0]) for part in (np.cos(grade), np.sin(grade)))
    return np.stack([way, x, z + rows[:, 0] - table[0, 0]], axis=1)


def _at(road: Floats, way_m: Floats) -> Floats:
    """Return x and height of the road at some ways, (way, 2)."""
    return np.stack([np.interp(way_m, road[:, 0], road[:, column]) for column in (1, 2)], axis=1)


def _posts(road: Floats) -> Floats:
    way = np.arange(math.ceil(road[0, 0] / _POST_EVERY_M), road[-1, 0] / _POST_EVERY_M)
    way = way * _POST_EVERY_M
    return np.column_stack([way, _at(road, way)])


def _smoothed(height_m: Floats) -> Floats:
    """Return heights without what is quicker than the camera; NaN where they are."""
    known = height_m[~np.isnan(height_m)]
    half = min(round(0.5 * _CAMERA_S * 1000.0 / FRAME_STEPS), max(len(known) - 1, 0) // 2)
    smooth = np.full(len(height_m), np.nan)
    if len(known):
        held = np.pad(known, half, mode="edge")
        smooth[: len(known)] = np.convolve(held, np.ones(2 * half + 1) / (2 * half + 1), "valid")
    return smooth
