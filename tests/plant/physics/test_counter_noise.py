"""The counter noise against the exact distribution of four bytes, and against chance."""

import itertools

import numpy as np
import pytest
from scipy import stats

from plant.physics.noise import ACCELEROMETER, GYRO, SWAY, YAW_GYRO, counter_noise
from tests.reference import numpy_noise

N_STEPS = 40_000
SEED = 20_240_501.0
BYTE_SCALE = np.sqrt(4 * (256.0**2 - 1.0) / 12.0)


def series(seed=SEED, channel=GYRO, n_steps=N_STEPS):
    """Return the noise of one ride and channel, (step,)."""
    return np.array([counter_noise(seed, step, channel) for step in range(n_steps)])


def four_bytes():
    """Return the exact probabilities of the sum of four uniform bytes, 0 to 1020."""
    byte = np.full(256, 1.0 / 256.0)
    return np.convolve(np.convolve(byte, byte), np.convolve(byte, byte))


@pytest.mark.parametrize("channel", ["gyro", "yaw_gyro", "sway", "accelerometer"])
def test_noise_agrees_bit_for_bit_with_wide_integers(channel):
    number = numpy_noise.CHANNELS[channel]
    seeds = np.array([0.0, 1.0, 12_345.0, 2.0**31, 2.0**32 - 1.0])

    for step in (0, 1, 59_999, 2**31 - 1):
        plain = numpy_noise.counter_noise(seeds, step, channel)
        compiled = [counter_noise(seed, step, number) for seed in seeds]
        # The same byte sums; the scaling may round its last bit another way.
        np.testing.assert_array_equal(
            np.rint(plain * BYTE_SCALE), np.rint(np.array(compiled) * BYTE_SCALE)
        )
        np.testing.assert_allclose(compiled, plain, rtol=4e-16)


def test_noise_has_zero_mean_and_unit_variance():
    noise = series()

    assert abs(noise.mean()) < 4.0 / np.sqrt(N_STEPS)
    # The variance of a sample's variance is (kurtosis + 2) / n.
    assert noise.var() == pytest.approx(1.0, abs=4.0 * np.sqrt(1.7 / N_STEPS))


def test_noise_has_the_kurtosis_of_four_uniform_numbers():
    # Irwin-Hall of order 4: excess kurtosis -6/5 / 4.
    assert stats.kurtosis(series()) == pytest.approx(-0.3, abs=0.06)
    assert abs(stats.skew(series())) < 0.05


def test_noise_follows_the_exact_distribution():
    total = np.rint(series() * BYTE_SCALE + 510.0).astype(int)
    edges = np.linspace(0, 1021, 52).astype(int)
    expected = np.add.reduceat(four_bytes(), edges[:-1]) * N_STEPS
    found = np.histogram(total, bins=edges)[0]
    likely = expected > 5.0

    found = np.append(found[likely], found[~likely].sum())
    expected = np.append(expected[likely], expected[~likely].sum())

    assert stats.chisquare(found, expected).pvalue > 1e-3


def test_noise_is_independent_from_step_to_step():
    noise = series()

    for lag in (1, 2, 3, 7, 64):
        correlation = stats.pearsonr(noise[:-lag], noise[lag:]).statistic
        assert abs(correlation) < 4.0 / np.sqrt(N_STEPS)


def test_spectrum_of_the_noise_is_flat():
    power = np.abs(np.fft.rfft(series()))[1:-1] ** 2 / N_STEPS

    # Each line of white noise is exponentially distributed with mean one.
    assert stats.kstest(power, stats.expon.cdf).pvalue > 1e-3


def test_channels_of_a_ride_are_independent():
    channels = [series(channel=channel) for channel in (GYRO, YAW_GYRO, SWAY, ACCELEROMETER)]

    for one, other in itertools.combinations(channels, 2):
        counts = np.histogram2d(np.sign(one), np.sign(other), bins=2)[0]
        assert stats.chi2_contingency(counts).pvalue > 1e-3
        assert abs(np.corrcoef(one, other)[0, 1]) < 4.0 / np.sqrt(N_STEPS)


def test_neighbouring_seeds_are_independent_at_every_small_shift():
    rides = [series(seed=float(seed), n_steps=5000) for seed in range(6)]

    for one, other in itertools.combinations(rides, 2):
        for shift in (0, 1, 2, 5):
            correlation = np.corrcoef(one[shift:], other[: len(other) - shift])[0, 1]
            assert abs(correlation) < 5.0 / np.sqrt(len(one) - shift)
