"""The noise against published answers, another library, its exact distribution, and chance."""

import itertools

import numpy as np
import pytest
import randomgen
from hypothesis import given
from hypothesis import strategies as st
from scipy import signal, stats

from plant.physics.noise import nearly_normal, noise_of_step, philox
from tests.reference import numpy_noise

N_STEPS = 40_000
SEED = 20_240_501
BYTE_SCALE = np.sqrt(4 * (256.0**2 - 1.0) / 12.0)
WORD = 2**32

# Known answers of Philox4x32-10 that Salmon and others publish with their library Random123
# (file kat_vectors): counter, key, answer; the last are digits of pi.
KNOWN_ANSWERS = (
    ((0, 0, 0, 0), (0, 0), (0x6627E8D5, 0xE169C58D, 0xBC57AC4C, 0x9B00DBD8)),
    (
        (WORD - 1,) * 4,
        (WORD - 1,) * 2,
        (0x408F276D, 0x41C83B0E, 0xA20BC7C6, 0x6D5451FD),
    ),
    (
        (0x243F6A88, 0x85A308D3, 0x13198A2E, 0x03707344),
        (0xA4093822, 0x299F31D0),
        (0xD16CFE09, 0x94FDCCEB, 0x5001E420, 0x24126EA1),
    ),
)


def words(*numbers):
    """Return whole numbers as the generator's words."""
    return tuple(np.uint64(number) for number in numbers)


def series(seed=SEED, channel="gyro", n_steps=N_STEPS, first=0):
    """Return the noise of one ride and channel, (step,)."""
    counter = np.zeros((4, n_steps), dtype=np.uint32)
    counter[0] = np.arange(first, first + n_steps)
    key = np.array([[seed % WORD], [seed // WORD]], dtype=np.uint32)
    return numpy_noise.normed(numpy_noise.philox(counter, key)[numpy_noise.CHANNELS.index(channel)])


def four_bytes():
    """Return the exact probabilities of the sum of four uniform bytes, 0 to 1020."""
    byte = np.full(256, 1.0 / 256.0)
    return np.convolve(np.convolve(byte, byte), np.convolve(byte, byte))


@pytest.mark.parametrize(("counter", "key", "answer"), KNOWN_ANSWERS)
def test_generator_gives_the_published_known_answers(counter, key, answer):
    plain = numpy_noise.philox(
        np.array(counter, dtype=np.uint32)[:, None], np.array(key, dtype=np.uint32)[:, None]
    )

    assert philox(words(*counter), words(*key)) == answer
    assert tuple(plain[:, 0]) == answer


@given(st.integers(0, 2**128 - 2), st.integers(0, 2**64 - 1))
def test_generator_agrees_bit_for_bit_with_another_library(counter, key):
    # That library advances its counter before it answers.
    other = randomgen.Philox(key=key, counter=counter, number=4, width=32)

    shares = [(counter + 1) >> shift & (WORD - 1) for shift in (0, 32, 64, 96)]
    ours = philox(words(*shares), words(key % WORD, key // WORD))

    assert ours == tuple(other.random_raw(4))


@pytest.mark.parametrize("step", [0, 1, 59_999, 2**31 - 1])
def test_noise_agrees_bit_for_bit_with_wide_integers(step):
    for seed in (0, 1, 12_345, 2**31, 2**32, 2**53 + 1, 2**64 - 1):
        plain = [
            numpy_noise.counter_noise(np.array([seed], dtype=np.uint64), step, channel)[0]
            for channel in numpy_noise.CHANNELS
        ]
        compiled = noise_of_step(float(seed % WORD), float(seed // WORD), step)

        # The same byte sums; the scaling may round its last bit another way.
        np.testing.assert_array_equal(
            np.rint(np.multiply(plain, BYTE_SCALE)), np.rint(np.multiply(compiled, BYTE_SCALE))
        )
        np.testing.assert_allclose(compiled, plain, rtol=4e-16)


def test_tail_ends_where_all_four_bytes_are_full():
    largest = nearly_normal(np.uint64(WORD - 1))

    assert largest == pytest.approx(510.0 / BYTE_SCALE)
    assert largest == pytest.approx(3.45, abs=0.005)
    assert nearly_normal(np.uint64(0)) == -largest


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


def test_noise_through_a_sensors_lag_is_normal_to_four_standard_deviations():
    # A lag of 5 ms, and a long series: its tail is the normal one though a draw's own tail ends.
    share = 1.0 - np.exp(-1.0 / 5.0)
    lagged = signal.lfilter([share], [1.0, share - 1.0], series(n_steps=4_000_000))
    spread = np.sqrt(share / (2.0 - share))

    beyond = np.sum(np.abs(lagged[::25]) > 3.0 * spread)
    expected = lagged[::25].size * 2.0 * stats.norm.sf(3.0)

    assert np.abs(lagged).max() > 4.0 * spread
    assert beyond == pytest.approx(expected, abs=4.0 * np.sqrt(expected))


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
    channels = [series(channel=channel) for channel in numpy_noise.CHANNELS]

    for one, other in itertools.combinations(channels, 2):
        counts = np.histogram2d(np.sign(one), np.sign(other), bins=2)[0]
        assert stats.chi2_contingency(counts).pvalue > 1e-3
        assert abs(np.corrcoef(one, other)[0, 1]) < 4.0 / np.sqrt(N_STEPS)


@pytest.mark.parametrize("apart", [1, 2, 1000, 2**31, 2**32, 0x9E3779B9, 1000 * 0x9E3779B9 % 2**32])
def test_rides_share_no_stretch_of_noise_at_any_shift_up_to_a_million_steps(apart):
    n_short, n_long = 2**12, 2**20
    short, long = series(n_steps=n_short), series(seed=SEED + apart, n_steps=n_short + n_long)

    # One correlation for each shift; the largest of a million normal numbers stays below 6.
    matched = signal.fftconvolve(long, short[::-1], mode="valid") / np.sqrt(n_short)

    assert matched.size > 1_000_000
    assert np.abs(matched).max() < 6.0
    assert matched.std() == pytest.approx(1.0, abs=0.01)


def test_seeds_that_differ_in_one_bit_flip_half_of_the_bits():
    counter = np.zeros((4, 64), dtype=np.uint32)
    counter[0] = np.arange(64)
    own = numpy_noise.philox(counter, np.zeros((2, 1), dtype=np.uint32))

    for bit in range(64):
        key = np.array([[(1 << bit) % WORD], [(1 << bit) // WORD]], dtype=np.uint32)
        flipped = np.bitwise_count(own ^ numpy_noise.philox(counter, key)).sum()
        n_bits = own.size * 32
        assert flipped == pytest.approx(n_bits / 2, abs=5.0 * np.sqrt(n_bits) / 2)


def test_noise_of_many_seeds_at_one_step_is_as_random_as_that_of_many_steps():
    seeds = np.arange(N_STEPS, dtype=np.uint64)
    noise = numpy_noise.counter_noise(seeds, 0, "sway")

    assert abs(noise.mean()) < 4.0 / np.sqrt(N_STEPS)
    assert noise.var() == pytest.approx(1.0, abs=4.0 * np.sqrt(1.7 / N_STEPS))
    power = np.abs(np.fft.rfft(noise))[1:-1] ** 2 / N_STEPS
    assert stats.kstest(power, stats.expon.cdf).pvalue > 1e-3
