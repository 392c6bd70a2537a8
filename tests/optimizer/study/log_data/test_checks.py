import tracemalloc

import numpy as np
import pyarrow as pa
import pyarrow.csv
import pytest

from optimizer.study.log_data.checks import check_log
from optimizer.study.log_data.findings import Weight
from optimizer.study.log_data.mapping import load_mapping
from tests.optimizer.study.log_data.written_logs import sound, write_mapping


@pytest.fixture
def found(tmp_path):
    """Return a function that writes a table as a log and returns what is found in it."""

    def check(table, **mapping):
        path = tmp_path / "ride.csv"
        table.to_csv(path, index=False)
        return check_log(path, load_mapping(write_mapping(tmp_path / "m.toml", **mapping)))

    return check


def warnings(checked, subject):
    return [
        finding
        for finding in checked.findings
        if finding.weight is Weight.WARNING and finding.subject == subject
    ]


def test_a_sound_log_gives_no_finding(found):
    checked = found(sound())

    assert checked.findings == ()
    assert checked.n_rows == 6000
    assert checked.rate_hz == pytest.approx(100.0)


def test_a_gap_is_found_at_the_line_where_it_ends(found):
    table = sound().drop(index=range(1000, 1300))

    (finding,) = warnings(found(table), "time_s")

    assert finding.line == 1002  # 1000 rows and the header stand before it
    assert finding.time_s == pytest.approx(13.0)
    assert "gap" in finding.text


def test_a_reset_of_the_clock_is_found(found):
    table = sound()
    table.loc[3000:, "t"] -= 25.0

    (finding,) = warnings(found(table), "time_s")

    assert finding.line == 3002
    assert "jumps back" in finding.text


def test_time_in_milliseconds_given_as_seconds_is_found(found):
    table = sound()
    table["t"] *= 1e3

    assert any("unit" in finding.text for finding in warnings(found(table), "time_s"))


def test_a_current_of_the_wrong_sign_is_found(found):
    table = sound()
    table["iq"] = -table["iq"]

    (finding,) = warnings(found(table), "current_a")

    assert "reversed" in finding.text


def test_revolutions_given_as_metres_are_found(found):
    table = sound()
    table["v"] /= 0.14 * np.pi / 30.0  # the catalogue board's wheel

    assert "rpm" in warnings(found(table), "speed_mps")[0].text
    assert found(table, speed_unit="rpm").findings == ()


def test_kilometres_an_hour_given_as_metres_a_second_are_found_when_fast(found):
    table = sound()
    table["v"] *= 3.6

    assert "km/h" in warnings(found(table), "speed_mps")[0].text


def test_radians_given_as_degrees_are_found(found):
    table = sound()
    table["pitch"] = np.radians(table["pitch"])

    (finding,) = warnings(found(table), "pitch_rad")

    assert "radians" in finding.text
    assert found(table, pitch_unit="rad").findings == ()


def test_degrees_given_as_radians_are_found(found):
    assert warnings(found(sound(), pitch_unit="rad"), "pitch_rad")


def test_no_finding_proposes_the_unit_that_is_mapped(found):
    # Speed in km/h, said to be rpm of the wheel: 500 times too slow; and a current far too large.
    table = sound()
    table["v"] *= 3.6
    table["iq"] *= 1000.0
    checked = found(table, speed_unit="rpm")
    (speed,), (current,) = warnings(checked, "speed_mps"), warnings(checked, "current_a")

    assert "rpm:" not in speed.text.replace("electrical rpm", "")
    assert "may be in mA:" in current.text
    # A speed beyond every unit's range is a matter of its scale.
    table["v"] = sound()["v"] * 1e9
    assert "no other unit" in warnings(found(table, speed_unit="rpm"), "speed_mps")[0].text
    # Rows 10,000 s apart in the smallest unit of time.
    slow = sound().assign(t=sound()["t"] * 1e12)
    assert "no other unit" in warnings(found(slow, time_unit="us"), "time_s")[-1].text


def test_a_gyro_of_the_wrong_sign_is_found(found):
    table = sound()
    table["gyro"] = -table["gyro"]

    assert len(warnings(found(table), "pitch_rate_rad_per_s")) == 1


def test_a_stuck_sensor_is_found_where_it_stops(found):
    table = sound()
    table.loc[2000:2600, "iq"] = table.loc[2000, "iq"]

    (finding,) = warnings(found(table), "current_a")

    assert finding.line == 2002
    assert "stuck" in finding.text


def test_a_board_that_stands_still_is_no_stuck_sensor(found):
    table = sound()
    table.loc[2000:3000, ["iq", "v"]] = 0.0

    assert not any("stuck" in finding.text for finding in found(table).findings)


def test_a_clipped_gyro_is_found(found):
    table = sound()
    table["gyro"] = table["gyro"].clip(-4.0, 4.0)

    assert {"cut off" in finding.text for finding in warnings(found(table), "pitch_rate_rad_per_s")}
    assert len(warnings(found(table), "pitch_rate_rad_per_s")) == 2


def test_missing_numbers_are_noted(found):
    table = sound()
    table.loc[::3, "pitch"] = np.nan

    assert any("33 %" in finding.text for finding in found(table).findings)


def test_findings_do_not_depend_on_where_blocks_end(found, monkeypatch):
    table = sound()
    table.loc[2000:2600, "iq"] = table.loc[2000, "iq"]
    table["gyro"] = table["gyro"].clip(-4.0, 4.0)
    table = table.drop(index=range(1000, 1300))
    whole = found(table)

    monkeypatch.setattr("optimizer.study.log_data.reader._BLOCK_BYTES", 20_000)

    assert [str(finding) for finding in found(table).findings] == [
        str(finding) for finding in whole.findings
    ]


def test_a_parquet_log_gives_the_findings_of_the_same_csv_log(found, tmp_path):
    table = sound()
    table["iq"] = -table["iq"]
    table.to_parquet(tmp_path / "ride.parquet")
    from_csv = found(table)

    from_parquet = check_log(tmp_path / "ride.parquet", load_mapping(tmp_path / "m.toml"))

    assert [str(finding) for finding in from_parquet.findings] == [
        str(finding) for finding in from_csv.findings
    ]


@pytest.mark.slow
def test_the_memory_of_a_check_does_not_grow_with_the_log(tmp_path):
    mapping = load_mapping(write_mapping(tmp_path / "m.toml"))
    numpy_bytes, arrow_bytes = [], []
    for n_rows in (1_200_000, 2_400_000):
        path = tmp_path / f"{n_rows}.csv"
        pa.csv.write_csv(pa.Table.from_pandas(sound(n_rows=n_rows, rate_hz=1000.0)), path)
        tracemalloc.start()
        check_log(path, mapping)
        numpy_bytes.append(tracemalloc.get_traced_memory()[1])
        tracemalloc.stop()
        arrow_bytes.append(pa.default_memory_pool().max_memory())

    # The second log's numbers take 48 MB more; the reader keeps some thirty blocks of 1 MB ahead.
    assert numpy_bytes[1] < numpy_bytes[0] + 2e6
    assert arrow_bytes[1] < arrow_bytes[0] + 8e6
