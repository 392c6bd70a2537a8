import math

import numpy as np
import pytest

from optimizer.base.errors import UserInputError
from optimizer.study.log_data.channels import CHANNELS
from optimizer.study.log_data.checks import check_log
from optimizer.study.log_data.mapping import load_mapping
from optimizer.study.log_data.mapping_proposal import propose
from optimizer.study.log_data.reader import read_blocks
from tests.optimizer.study.log_data.written_logs import sound, write_mapping


def proposed(tmp_path, table, **options):
    """Return the mapping that is proposed for a table and then confirmed unread."""
    log, path = tmp_path / "ride.csv", tmp_path / "m.toml"
    table.to_csv(log, index=False, **options)
    path.write_text(propose(log).replace("confirmed = false", "confirmed = true"))
    return log, load_mapping(path)


def test_a_proposal_is_not_taken_until_it_is_confirmed(tmp_path):
    log, path = tmp_path / "ride.csv", tmp_path / "m.toml"
    sound().rename(columns={"v": "speed"}).to_csv(log, index=False)
    path.write_text(propose(log))

    with pytest.raises(UserInputError, match="confirmed = true"):
        load_mapping(path)


def test_a_proposal_finds_columns_by_their_words_and_units(tmp_path):
    names = {"t": "Time [ms]", "iq": "Motor Current (A)", "v": "Wheel rpm", "pitch": "pitch_deg",
             "gyro": "gyro_pitch_dps"}  # fmt: skip
    table = sound().rename(columns=names)
    table["Time [ms]"] *= 1e3
    table["Wheel rpm"] *= 68.2

    log, mapping = proposed(tmp_path, table)
    block = next(read_blocks(log, mapping))

    assert {name: column.name for name, column in mapping.columns.items()} == {
        "time_s": "Time [ms]",
        "current_a": "Motor Current (A)",
        "speed_mps": "Wheel rpm",
        "pitch_rad": "pitch_deg",
        "pitch_rate_rad_per_s": "gyro_pitch_dps",
    }
    assert block.signals["time_s"][100] == pytest.approx(1.0)
    assert abs(block.signals["pitch_rad"]).max() == pytest.approx(math.radians(3.0), rel=0.05)
    assert block.signals["speed_mps"].mean() == pytest.approx(6.0, rel=0.1)


def test_the_command_shows_the_proposal_and_asks_to_confirm_it_in_the_file(levelgain_log, tmp_path):
    log, path = tmp_path / "ride.csv", tmp_path / "ride.mapping.toml"
    sound().rename(columns={"v": "speed"}).to_csv(log, index=False)

    code, out, _ = levelgain_log("propose", log)

    assert code == 0
    assert "confirmed = true" in out
    assert 'current_a = { column = "iq", unit = "A" }' in out
    assert "guessed from the range" in out
    code, _, err = levelgain_log("check", log)
    assert code == 2
    assert "confirmed = true" in err
    path.write_text(path.read_text().replace("confirmed = false", "confirmed = true"))
    assert levelgain_log("check", log)[0] == 0


def test_the_command_replaces_no_mapping(levelgain_log, tmp_path):
    log, path = tmp_path / "ride.csv", tmp_path / "ride.mapping.toml"
    sound().to_csv(log, index=False)
    path.write_text("mine")

    code, _, err = levelgain_log("propose", log)

    assert code == 2
    assert err.count("\n") == 1
    assert path.read_text() == "mine"


@pytest.mark.parametrize("content", ["", "1,2\n3,4\n5,6\n", "t,iq\n", "\0" * 50])
def test_no_proposal_is_written_for_what_is_no_log(levelgain_log, tmp_path, content):
    (tmp_path / "ride.csv").write_text(content)

    code, out, err = levelgain_log("propose", tmp_path / "ride.csv")

    assert code == 2
    assert out == ""
    assert err.count("\n") == 1
    assert [file.name for file in tmp_path.iterdir()] == ["ride.csv"]


def test_what_a_proposal_does_not_know_stands_in_it_as_comments(levelgain_log, tmp_path):
    log, path = tmp_path / "ride.csv", tmp_path / "ride.mapping.toml"
    table = sound(n_rows=50).rename(columns={"t": "zeit", "v": "speed", "gyro": "a \x1b[2J b"})
    table["twice"] = 1.0
    table["twice "] = 2.0
    table.to_csv(log, index=False)

    code, _, _ = levelgain_log("propose", log)
    text = path.read_text()

    assert code == 0
    assert "#   zeit: 0 to 0.49\n" in text
    assert '# time_s = { column = "", unit = "s" }  # needed; time;' in text
    assert "#   twice: line 1 names it twice" in text
    # Every channel stands in the file once with each of its units, as a line or as a comment.
    for name, channel in CHANNELS.items():
        (line,) = [line for line in text.splitlines() if f"{name} = " in line]
        assert line.endswith(f"may be: {', '.join(channel.units)}")
    path.write_text(text.replace("confirmed = false", "confirmed = true"))
    assert "columns.time_s: is missing" in levelgain_log("check", log)[2]
    path.write_text(
        path.read_text().replace('# time_s = { column = ""', 'time_s = { column = "zeit"')
    )
    assert levelgain_log("check", log)[0] == 0


START = np.datetime64("2025-06-01T12:00:00")


@pytest.mark.parametrize("kind", ["csv", "parquet"])
@pytest.mark.parametrize("zone", ["", "Z", "+02:00"])
def test_times_as_iso_8601_are_read_to_the_millisecond(tmp_path, kind, zone):
    table = sound(n_rows=200)
    stamps = START + (1e3 * table["t"].to_numpy()).astype("timedelta64[ms]")
    table["t"] = [f"{stamp}{zone}" for stamp in stamps]
    log, path = tmp_path / f"ride.{kind}", tmp_path / "m.toml"
    if kind == "csv":
        table.to_csv(log, index=False)
    else:
        table.to_parquet(log)
    path.write_text(propose(log).replace("confirmed = false", "confirmed = true"))

    block = next(read_blocks(log, load_mapping(path)))

    shift = 7200.0 if zone == "+02:00" else 0.0
    seconds = block.signals["time_s"] + shift - START.astype("datetime64[s]").astype(float)
    assert seconds == pytest.approx(sound(n_rows=200)["t"], abs=1e-5)


def test_timestamps_of_a_parquet_file_are_read(tmp_path):
    table = sound(n_rows=200)
    table["t"] = START + (1e3 * table["t"].to_numpy()).astype("timedelta64[ms]")
    log, path = tmp_path / "ride.parquet", tmp_path / "m.toml"
    table.to_parquet(log)
    path.write_text(propose(log).replace("confirmed = false", "confirmed = true"))

    block = next(read_blocks(log, load_mapping(path)))

    assert np.diff(block.signals["time_s"]) == pytest.approx(0.01, abs=1e-5)


def test_text_that_is_no_time_is_refused(tmp_path):
    table = sound(n_rows=50)
    table["t"] = [f"{START}"] * 49 + ["noon"]
    log, path = tmp_path / "ride.csv", tmp_path / "m.toml"
    table.to_csv(log, index=False)
    path.write_text(propose(log).replace("confirmed = false", "confirmed = true"))

    with pytest.raises(UserInputError, match="ISO 8601"):
        list(read_blocks(log, load_mapping(path)))


def test_a_proposal_finds_separator_and_decimal_sign(tmp_path):
    table = sound().rename(columns={"v": "speed"})

    _, mapping = proposed(tmp_path, table, sep=";", decimal=",")

    assert (mapping.separator, mapping.decimal) == (";", ",")


def test_pack_and_motor_current_are_told_apart(tmp_path):
    table = sound()[["t", "iq"]].assign(**{"battery current": 3.0, "battery voltage": 55.0})

    _, mapping = proposed(tmp_path, table)

    assert mapping.columns["pack_a"].name == "battery current"
    assert mapping.columns["current_a"].name == "iq"
    assert mapping.columns["bus_v"].name == "battery voltage"


@pytest.mark.parametrize(
    ("change", "words"),
    [
        (("pitch_rad", "pitsch_rad"), "nearest is 'pitch_rad'"),
        (('"deg/s"', '"turns"'), 'must be one of "rad/s", "deg/s"'),
        (("lender_15", "lender_99"), "nearest is 'lender_1"),
        (("80.0", "800.0"), "rider_mass_kg"),
        (("confirmed = true", "confirmed = 3"), "confirmed"),
        (("[columns]", "[columns]\nx = 3"), "columns"),
        (('unit = "A"', 'unit = "A", scale = 0'), "columns.current_a.scale: must not be 0"),
        (('unit = "A"', 'unit = "A", scale = inf'), "columns.current_a.scale"),
        (('unit = "A"', 'unit = "A", offset = nan'), "columns.current_a.offset"),
        (('unit = "s"', 'unit = "ISO 8601", scale = 2.0'), "neither scale nor offset"),
        (("separator", "seperator"), "nearest allowed is separator"),
        (('column = "t", ', ""), "missing"),
    ],
)
def test_a_wrong_mapping_is_refused(tmp_path, change, words):
    path = write_mapping(tmp_path / "m.toml")
    path.write_text(path.read_text().replace(*change))

    with pytest.raises(UserInputError, match=words):
        load_mapping(path)


def test_a_mapping_without_time_is_refused(tmp_path):
    path = tmp_path / "m.toml"
    lines = write_mapping(path).read_text().splitlines()
    path.write_text("\n".join(line for line in lines if not line.startswith("time_s")))

    with pytest.raises(UserInputError, match=r"columns.time_s: is missing"):
        load_mapping(path)


def test_reversed_turns_the_sign_round(tmp_path):
    log, path = tmp_path / "ride.csv", tmp_path / "m.toml"
    sound().to_csv(log, index=False)
    plain = next(read_blocks(log, load_mapping(write_mapping(path))))
    path.write_text(
        path.read_text().replace('"iq", unit = "A"', '"iq", unit = "A", reversed = true')
    )
    turned = next(read_blocks(log, load_mapping(path)))

    assert (turned.signals["current_a"] == -plain.signals["current_a"]).all()


def test_scale_and_offset_count_in_the_unit_of_the_line_and_are_told(tmp_path):
    # 68 degF are 20 degC and 212 degF are 100 degC, by definition; a recorder's word of 16 bits.
    log, path = tmp_path / "ride.csv", tmp_path / "m.toml"
    table = sound(n_rows=200)
    table["motor"] = np.where(np.arange(200) < 100, 1680, 3120)  # tenths of a degF, 100 above
    table.to_csv(log, index=False)
    write_mapping(path)
    with path.open("a") as file:
        file.write('winding_c = { column = "motor", unit = "degF", scale = 0.1, offset = -100 }\n')

    block = next(read_blocks(log, load_mapping(path)))
    (told,) = [str(one) for one in check_log(log, load_mapping(path)).findings
               if one.subject == "winding_c"]  # fmt: skip

    assert block.signals["winding_c"][[0, -1]] == pytest.approx([20.0, 100.0])
    assert "0.1 times the column's number - 100 as degF" in told
