"""Write the packaged example log again: `python -m tests.reference.example_log`."""

from optimizer.study.catalogue import STUDIES_FOLDER
from tests.reference import logged_ride
from tests.reference.logged_truth import drawn_truth

SEED = 3209
DURATION_S = 150.0
HEAD = """\
# An invented ride of two minutes and a half, on an invented board. Columns and units have been
# checked, board and rider weighed and measured.
"""
# As a recorder that saves room.
DECIMALS = {
    "t": 3, "motor_a": 1, "wheel_rpm": 1, "pack_v": 2, "pack_a": 1, "pitch_deg": 2, "gyro_dps": 1,
    "yaw_dps": 1, "accel_x": 2, "accel_z": 2, "duty": 4, "altitude": 1,
}  # fmt: skip


def write_example() -> None:
    """Write the log and its mapping into the catalogue's neighbour folder."""
    folder = STUDIES_FOLDER / "ridden"
    folder.mkdir(exist_ok=True)
    recorded(SEED).to_csv(folder / "ride.csv", index=False)
    (folder / "ride.mapping.toml").write_text(HEAD + logged_ride.mapping(drawn_truth(SEED)))


def recorded(seed):
    """Return the table of a seed's ride as the example's recorder writes it."""
    table = logged_ride.logged(drawn_truth(seed), seed=seed, duration_s=DURATION_S)
    return table.round(DECIMALS)


if __name__ == "__main__":
    write_example()
