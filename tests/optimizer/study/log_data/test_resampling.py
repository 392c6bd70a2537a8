import numpy as np
import pytest

from optimizer.study.log_data.mapping import load_mapping
from optimizer.study.log_data.resampling import load_log
from tests.optimizer.study.log_data.written_logs import sound, write_mapping


@pytest.fixture
def resampled(tmp_path):
    """Return a function that writes a table as a log and loads it onto a grid."""

    def load(table, **options):
        table.to_csv(tmp_path / "ride.csv", index=False)
        mapping = load_mapping(write_mapping(tmp_path / "m.toml"))
        return load_log(tmp_path / "ride.csv", mapping, **options)[0]

    return load


def test_means_are_taken_over_every_step(resampled):
    table = sound()

    log = resampled(table, rate_hz=100.0 / 7.0)

    inside = table["v"].to_numpy()[4:11].mean()  # a step's middle lies on the grid
    assert log.dt_s == pytest.approx(0.07)
    assert log.signals["speed_mps"][1] == pytest.approx(inside)


def test_a_gap_parts_the_log_and_a_short_hole_does_not(resampled):
    table = sound().drop(index=[500, 501, *range(2000, 2300)])

    log = resampled(table)

    assert [part.stop - part.start for part in log.parts()] == [2000, 3700]
    assert np.isfinite(log.signals["speed_mps"]).all()


def test_a_restart_of_the_clock_parts_the_log(resampled):
    table = sound()
    table.loc[3000:, "t"] -= 25.0

    assert len(list(resampled(table).parts())) == 2


def test_a_value_that_can_not_be_true_is_left_out(resampled):
    table = sound()
    table.loc[1000:1100, "iq"] = 5e4

    current = resampled(table).signals["current_a"]

    assert np.isnan(current[1050])
    assert np.nanmax(np.abs(current)) < 50.0


def test_blocks_do_not_show_in_the_grid(resampled, monkeypatch):
    whole = resampled(sound(), rate_hz=30.0)

    monkeypatch.setattr("optimizer.study.log_data.reader._BLOCK_BYTES", 20_000)

    np.testing.assert_allclose(
        resampled(sound(), rate_hz=30.0).signals["pitch_rad"], whole.signals["pitch_rad"]
    )
