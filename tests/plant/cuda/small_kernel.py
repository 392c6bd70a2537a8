"""A kernel of a few rows, with each construct that the translation knows, and its layout."""

import enum
import math

import numpy as np

from plant.cuda.source import Source
from plant.cuda.values import INT, Code, LaneRows, Static, Table

WIDTH = 8
_RING = ("ring_0", "ring_1", "ring_2", "ring_3")
_CURVE = ("curve_0", "curve_1", "curve_2")
ROWS = ("gain", "bias", "speed", "way", "most", "count", "seed", *_RING, *_CURVE)
R = enum.IntEnum("R", [(name, row * WIDTH) for row, name in enumerate(ROWS)])
_WEIGHTS = (0.5, 0.25, 0.125)
_WORD = np.uint64(0xFFFFFFFF)
_MULTIPLIER = np.uint64(0xD2511F53)
_SHIFT = np.uint64(32)


def both(a, b):
    """Return a pair."""
    return a + b, a * b - 1.0


def larger(a, b):
    """Return the larger."""
    return a if a > b else b


def mixed(pair):
    """Return a word of two mixed."""
    first, second = pair
    for _ in range(3):
        product = _MULTIPLIER * first
        first = (product >> _SHIFT) ^ second
        second = product & _WORD
    return first


def advance(b, k, share):
    """Advance the way, and return whether it grew."""
    before = b[R.way + k]
    change = (b[R.speed + k] * b[R.gain + k] + b[R.bias + k]) / 3.0
    change *= share
    b[R.way + k] += change
    if change > 0.0 and not before < -1.0:
        b[R.count + k] += 1.0
    elif change == 0.0:
        b[R.count + k] -= 0.5
    else:
        b[R.count + k] -= 0.25
    return change > 0.0 or before >= 1e3


def keep(b, k, step):
    """Keep the way of this step in the ring, and take up the one of a ring ago."""
    slot = R.ring_0 + (step // 2 % 4) * WIDTH
    held: float = b[slot + k]
    b[slot + k] = b[R.way + k]
    b[R.speed + k] = b[R.speed + k] + 0.125 * math.sqrt(larger(held * held, 0.0))


def curved(b, k, step):
    """Return the curve between two of its points."""
    row = R.curve_0 + (step % 2) * WIDTH + k
    most, _, share = _WEIGHTS
    return most * b[row] + share * (b[row + WIDTH] - b[row])


def ride(b, table, n_steps, n_sub, record):
    """Ride a lane."""
    h = 1.0 / n_sub
    last = table.shape[0] - 1
    for step in range(n_steps):
        if record.shape[0] > 0:
            record[step] = b[R.way]
        for k in range(WIDTH):
            place = step if step < last else last
            break_off = 0.0
            if int(b[R.count + k]) > 6:
                break_off = 1.0
            for sub in range(n_sub):
                grew = advance(b, k, h if sub == 0 else 0.5 * h)
            low, high = both(b[R.speed + k], table[place, 1])
            for column in range(2):
                low += _WEIGHTS[column] * table[place, column] ** 2
            word = mixed((np.uint64(step), np.uint64(np.uint32(b[R.seed + k]))))
            low, high = high, low
            noise = (np.int32(word & np.uint64(0xFF)) - 127.5) / 256.0
            b[R.most + k] = larger(b[R.most + k], high + np.floor(low) + noise)
            b[R.bias + k] = -b[R.bias + k] if grew else b[R.bias + k] + break_off
            b[R.bias + k] += curved(b, k, step)
            keep(b, k, step)


def source(entry=ride, n_sub=2):
    """Return a function of these parameters as the source of a program."""
    arguments = (
        LaneRows(),
        Table("table", 2),
        Code("n_steps", INT),
        Static(n_sub),
        Static(np.zeros(0)),
    )
    rows = enum.IntEnum("R", [(name, row) for row, name in enumerate(ROWS)])
    return Source(
        entry=entry,
        arguments=arguments,
        names={"WIDTH": 1, "R": rows},
        rows=ROWS,
        profile_rows=frozenset({"gain"}),
        kept_rows=frozenset({"way", "count"}),
        ring=range(7, 11),
        looked_up=range(11, 14),
    )
