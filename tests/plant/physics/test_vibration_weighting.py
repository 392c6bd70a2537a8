"""The digital Wk against the table and the transfer function of ISO 2631-1."""

import math

import numpy as np
import pytest
from scipy.signal import freqs, freqz, freqz_sos, sosfilt

from plant.kernel.lane_layout import R
from plant.kernel.simulate import ride_lanes, simulate
from plant.physics.vibration import SAMPLE_RATE_HZ, WK_SECTIONS
from tests import invented_rides
from tests.reference.wk_weighting import analogue_sections, digital_sections

# ISO 2631-1:1997, table 3: third octaves 0.4 to 100 Hz, Wk times 1000.
THIRD_OCTAVES_HZ = (
    0.4, 0.5, 0.63, 0.8, 1, 1.25, 1.6, 2, 2.5, 3.15, 4, 5, 6.3,
    8, 10, 12.5, 16, 20, 25, 31.5, 40, 50, 63, 80, 100,
)  # fmt: skip
WK_PER_MILLE = (
    352, 418, 459, 477, 482, 484, 494, 531, 631, 804, 967, 1039, 1054,
    1036, 988, 902, 768, 636, 513, 405, 314, 246, 186, 132, 88.7,
)  # fmt: skip


def digital_gain(frequency_hz):
    """Return the gain of the kernel's four sections."""
    response = np.ones(len(frequency_hz), dtype=complex)
    for b0, b1, b2, a1, a2 in WK_SECTIONS:
        response *= freqz([b0, b1, b2], [1.0, a1, a2], worN=frequency_hz, fs=SAMPLE_RATE_HZ)[1]
    return np.abs(response)


def analogue_gain(frequency_hz):
    """Return |H| of ISO 2631-1, annex A."""
    response = np.ones(len(frequency_hz), dtype=complex)
    for b, a in analogue_sections():
        response *= freqs(b, a, worN=2.0 * math.pi * np.asarray(frequency_hz))[1]
    return np.abs(response)


def test_weighting_meets_the_published_table():
    # The analogue filter itself differs from the rounded table by up to 0.28 %.
    np.testing.assert_allclose(
        digital_gain(THIRD_OCTAVES_HZ), np.array(WK_PER_MILLE) / 1000.0, rtol=3e-3
    )


def test_weighting_meets_the_published_transfer_function():
    frequency_hz = np.geomspace(0.4, 100.0, 500)

    np.testing.assert_allclose(digital_gain(frequency_hz), analogue_gain(frequency_hz), rtol=1e-4)


def test_the_weighting_of_the_reference_model_is_that_of_the_transfer_function_too():
    frequency_hz = np.geomspace(0.4, 50.0, 500)

    gain = np.abs(freqz_sos(digital_sections(), worN=frequency_hz, fs=SAMPLE_RATE_HZ)[1])

    np.testing.assert_allclose(gain, analogue_gain(frequency_hz), rtol=0.01)


def test_weighting_is_stable():
    for *_, a1, a2 in WK_SECTIONS:
        assert np.all(np.abs(np.roots([1.0, a1, a2])) < 1.0)


def test_the_metric_is_the_weighted_rms_of_the_ride():
    ride = invented_rides.rides(("cobbles",))[2]
    row = invented_rides.profile_row()[None, :]

    _, record = ride_lanes(row, ride, probe=((R.wheel_accel_mps2,), 1))

    sections = np.array([[b0, b1, b2, 1.0, a1, a2] for b0, b1, b2, a1, a2 in WK_SECTIONS])
    weighted = sosfilt(sections, record[:, 0, 0])
    metric = simulate(row, [ride]).column("vibration_mps2")[0, 0]
    assert metric == pytest.approx(np.sqrt(np.mean(weighted**2)), rel=1e-6)
    assert metric > 0.5
