"""A kernel's functions as a program: built and run here, it does what Python does, bit by bit."""

import re

import numpy as np
import pytest

from plant.arithmetic import fixed
from plant.cuda.batch import RideBatch
from plant.cuda.program import program
from plant.cuda.source import DEFAULT
from plant.cuda.values import TranslationError
from tests.plant.cuda import small_kernel as small
from tests.plant.cuda.host_build import built

CHANGED = ("bias", "speed", "way", "most", "count")


def lanes(n_lanes):
    """Return lanes at their start, (lane, row), of unlike numbers."""
    random = np.random.default_rng(4)
    rows = random.normal(size=(n_lanes, len(small.ROWS)))
    rows[:, small.ROWS.index("seed")] = random.integers(0, 2**32, n_lanes)
    rows[:, small.ROWS.index("count")] = random.integers(0, 8, n_lanes)
    return rows


def ridden_by_python(monkeypatch, start, table, n_steps, n_sub):
    """Return a lane's rows at its end, by Python's own arithmetic under the fixed rules."""
    for name in ("both", "larger", "mixed", "advance", "keep", "curved"):
        monkeypatch.setattr(small, name, fixed(getattr(small, name)))
    buffer = np.repeat(start[:, None], small.WIDTH, axis=1).ravel()
    fixed(small.ride)(buffer, table, n_steps, n_sub, np.zeros(0))
    return buffer.reshape(-1, small.WIDTH)[:, 0]


@pytest.mark.parametrize("n_sub", [1, 2])
def test_each_construct_does_what_python_does(monkeypatch, tmp_path, n_sub):
    made = program(small.source(n_sub=n_sub), CHANGED, DEFAULT)
    launch = built(made, tmp_path)
    starts = lanes(70)
    tables = [np.random.default_rng(seed).normal(size=(5 + seed, 2)) for seed in range(70)]
    n_steps = np.arange(70) % 23
    names = list(small.ROWS)
    gains = np.zeros((2, len(names)))
    gains[:, 0] = 0.5, -1.25

    found = launch(
        RideBatch(
            rides=starts,
            profiles=gains,
            tables=[(table,) for table in tables],
            table_of=np.arange(70),
            n_steps=n_steps,
        )
    )

    rows = [names.index(name) for name in CHANGED] + [7, 8, 9, 10]
    for place, start in enumerate(starts):
        for candidate, gain in enumerate(gains[:, 0]):
            start[0] = gain
            wanted = ridden_by_python(
                monkeypatch, start, tables[place], int(n_steps[place]), n_sub
            )[rows]
            np.testing.assert_array_equal(
                found[:, candidate, place].view(np.uint64), wanted.view(np.uint64)
            )


def test_rows_stand_by_what_is_done_with_them():
    made = program(small.source(), CHANGED, DEFAULT)

    assert set(made.written_rows) == set(CHANGED)
    assert [small.ROWS[row] for row in made.profile_numbers] == ["gain"]
    assert small.ROWS[made.ride_numbers[0]] == "seed"  # read alone
    assert made.n_ring == 4
    assert made.tables == ("table",)


def test_what_is_known_before_the_ride_is_worked_out():
    text = program(small.source(), CHANGED, DEFAULT).text

    assert "record" not in text
    assert len(re.findall(r"\bfor \(int step_", text)) == 1
    assert not re.findall(r"\bfor \(int (sub|column|k)_", text)


def test_a_row_that_never_changes_can_not_be_asked_for():
    with pytest.raises(TranslationError, match="never written: seed"):
        program(small.source(), ("way", "seed"), DEFAULT)


def test_a_row_of_the_profile_must_not_change():
    def entry(b, table, n_steps, n_sub, record):
        b[small.R.gain] = 1.0

    with pytest.raises(TranslationError, match="of the profile, and written: gain"):
        program(small.source(entry), (), DEFAULT)
