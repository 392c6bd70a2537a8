"""Generated roads against ISO 8608, and kerbs against statics."""

import dataclasses
import hashlib
import math

import numpy as np
import pytest
from scipy.signal import welch

from plant.description.course import Patch
from plant.kernel.road import TABLE_STEP_M, road_table
from plant.kernel.roughness import roughness_shape, smooth_length
from plant.kernel.wheel_path import wheel_centre_path
from tests import invented, invented_rides

N0 = 0.1  # cycles/m, reference of ISO 8608
GEOMETRIC_MEANS = {letter: 16.0 * 4.0**k * 1e-6 for k, letter in enumerate("ABCDEFGH")}
BAND = (0.05, 10.0)  # cycles/m, of the generated profile


def rms_m(level_m3, low, high):
    """Return the RMS height of a road of ISO 8608 form within a band: the PSD integrated."""
    return math.sqrt(level_m3 * N0**2 * (1.0 / low - 1.0 / high))


@pytest.mark.parametrize(
    ("letter", "published_mm"),
    [
        ("A", 3.81),
        ("B", 7.61),
        ("C", 15.23),
        ("D", 30.45),
        ("E", 60.90),
        ("F", 121.80),
        ("G", 243.61),
        ("H", 487.22),
    ],
)
def test_closed_form_rms_meets_the_published_classes(letter, published_mm):
    # GB/T 7031 (from memory): RMS heights of the classes' geometric means over
    # 0.011 < n < 2.83 cycles/m. It holds the closed form that the next tests use.
    assert 1e3 * rms_m(GEOMETRIC_MEANS[letter], 0.011, 2.83) == pytest.approx(
        published_mm, abs=0.006
    )


@pytest.mark.parametrize("letter", ["A", "C", "E"])
def test_generated_road_has_the_rms_of_its_class_in_its_band(letter):
    level = GEOMETRIC_MEANS[letter]

    height = roughness_shape(200_000, 0.01, seed=11) * math.sqrt(level)

    # Nearly the whole period of 2 km is kept, so the mean square hardly varies with the seed.
    assert np.std(height) == pytest.approx(rms_m(level, *BAND), rel=0.01)


def test_generated_road_has_slope_and_level_of_the_standard():
    level = GEOMETRIC_MEANS["B"]
    height = roughness_shape(400_000, 0.01, seed=4) * math.sqrt(level)

    frequency, psd = welch(height, fs=100.0, nperseg=1 << 15)

    inside = (frequency > 0.1) & (frequency < 8.0)
    slope, intercept = np.polyfit(np.log(frequency[inside] / N0), np.log(psd[inside]), 1)
    assert slope == pytest.approx(-2.0, abs=0.03)
    assert math.exp(intercept) == pytest.approx(level, rel=0.06)


def test_a_profile_has_the_bits_of_every_release_of_the_libraries():
    # numpy 2.1 to 2.5 gave these; an FFT of scipy 1.18 other last bits than one of 1.17.
    found = hashlib.sha256()
    for n_points, seed in ((1_200, 1), (9_001, 2), (70_007, 3)):
        found.update(roughness_shape(n_points, 0.01, seed).tobytes())

    assert found.hexdigest()[:16] == "e436309ed39e0f50"


def test_a_length_is_the_next_product_of_two_three_and_five():
    products = sorted(
        2**two * 3**three * 5**five
        for two in range(18)
        for three in range(11)
        for five in range(8)
    )  # fmt: skip

    for n_points in (*range(1, 3000), 99_999, 100_000, 100_001):
        assert smooth_length(n_points) == next(each for each in products if each >= n_points)


def test_generated_road_has_no_height_outside_its_band():
    height = roughness_shape(400_000, 0.01, seed=4)

    frequency, psd = welch(height, fs=100.0, nperseg=1 << 15, window="blackmanharris")

    beyond = psd[frequency > 11.0].max() / psd[(frequency > 8.0) & (frequency < 9.0)].mean()
    assert beyond < 1e-3


def test_slope_psd_of_class_a_is_flat_at_the_published_level():
    # Slope PSD Gd (2 pi n0)^2: 6.317e-6 m for class A, whatever the frequency.
    height = roughness_shape(400_000, 0.01, seed=8) * math.sqrt(GEOMETRIC_MEANS["A"])

    frequency, psd = welch(np.gradient(height, 0.01), fs=100.0, nperseg=1 << 14)

    inside = (frequency > 0.1) & (frequency < 3.0)
    assert np.mean(psd[inside]) == pytest.approx(6.317e-6, rel=0.05)


def steepest(height_over_radius, *, radius=0.14, step=1e-4):
    """Return the steepest slope of a rigid wheel's centre that climbs a step."""
    distance = np.arange(-0.4, 0.4, step)
    kerb = np.where(distance >= 0.0, height_over_radius * radius, 0.0)
    path = wheel_centre_path(kerb, step_m=step, radius_m=radius, contact_length_m=0.0)
    return np.max(np.diff(path)) / step


@pytest.mark.parametrize("ratio", [0.05, 0.1, 0.2, 0.5])
def test_a_rigid_wheel_needs_the_statics_force_to_climb_a_step(ratio):
    # Statics textbooks: F = W sqrt(2 r h - h^2) / (r - h), at h = r/2 it is sqrt(3) W. The plant
    # pushes back with load times slope, so the steepest slope is F / W.
    expected = math.sqrt(2.0 * ratio - ratio**2) / (1.0 - ratio)

    assert steepest(ratio) == pytest.approx(expected, rel=5e-3)
    if ratio == 0.5:
        assert steepest(ratio) == pytest.approx(math.sqrt(3.0), rel=5e-3)


def test_friction_of_0_8_allows_a_step_of_0_219_radii():
    # Derived: friction >= sqrt(2 r h - h^2) / (r - h).
    assert steepest(0.217) < 0.8 < steepest(0.221)


def test_the_moment_to_climb_is_weight_times_the_edge_lever():
    # Derived for a wheel driven by torque: tau = W sqrt(2 r h - h^2), the lever of the edge.
    lever = 0.14 * math.sin(math.atan(steepest(0.2)))

    assert lever == pytest.approx(0.14 * math.sqrt(2.0 * 0.2 - 0.2**2), rel=5e-3)


def test_a_kerb_lifts_the_wheel_by_its_whole_height():
    distance = np.arange(-0.5, 0.5, 1e-3)
    kerb = np.where(distance >= 0.0, 0.03, 0.0)

    path = wheel_centre_path(kerb, step_m=1e-3, radius_m=0.14, contact_length_m=0.06)

    assert path[0] == pytest.approx(0.0, abs=1e-12)
    assert path[-1] == pytest.approx(0.03, abs=1e-12)


def test_a_tyre_envelops_what_is_shorter_than_its_contact():
    distance = np.arange(0.0, 2.0, 1e-3)
    short = 0.002 * np.sin(2.0 * np.pi * distance / 0.06)

    path = wheel_centre_path(short, step_m=1e-3, radius_m=0.14, contact_length_m=0.06)

    middle = path[500:-500]
    assert np.ptp(middle) < 0.05 * np.ptp(short)


def test_road_table_integrates_its_slope_to_its_height_and_starts_level():
    table = road_table(
        invented_rides.road(invented_rides.COBBLES, kerbs=((5.0, 0.03),)),
        wheel=invented.board().wheel,
        length_m=12.0,
        press_ratio=((0.0, 0.0),),
        seed=3,
    )

    climbed = np.concatenate([[0.0], np.cumsum(0.5 * (table[1:, 1] + table[:-1, 1])) * 0.02])
    assert table[0, 0] == 0.0
    np.testing.assert_allclose(climbed, table[:, 0], atol=2e-3)


@pytest.mark.parametrize(("percent", "degrees"), [(8.33, 4.76), (34.8, 19.19), (28.6, 15.96)])
def test_grades_in_percent_become_their_angle(percent, degrees):
    # Ramp 1:12 of ADA 405.2 is 8.33 %; the steepest streets on record are 34.8 % and 28.6 %.
    table = road_table(
        invented_rides.road(grade_percent=((-9.0, percent),)),
        wheel=invented.board().wheel,
        length_m=5.0,
        press_ratio=((0.0, 0.0),),
        seed=3,
    )

    np.testing.assert_allclose(np.degrees(table[:, 2]), degrees, atol=0.01)


def test_no_step_lies_where_surfaces_meet():
    smooth, rough = (invented_rides.surface(0.02, 0.7, level) for level in (16.0, 1024.0))
    meets_m = (40.0, 80.0)
    patches = ((0.0, smooth), (meets_m[0], rough), (meets_m[1], smooth))
    road = dataclasses.replace(
        invented_rides.road(smooth),
        patches=tuple(Patch(from_m=place, surface=surface) for place, surface in patches),
    )

    # Where the heights are not joined, half of these seeds are steeper, up to 2.7 times.
    for seed in range(20):
        table = road_table(
            road, wheel=invented.board().wheel, length_m=120.0, press_ratio=((0.0, 0.0),), seed=seed
        )
        steepness = np.abs(table[:, 1])
        place_m = np.arange(len(table)) * TABLE_STEP_M
        near_m = np.abs(place_m[:, None] - meets_m).min(axis=1)
        on_rough = (place_m > meets_m[0] + 0.5) & (place_m < meets_m[1] - 0.5)
        assert steepness[near_m < 0.2].max() < 1.2 * steepness[on_rough].max()
