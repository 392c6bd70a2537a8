"""What a ride log gives a riding day: wanted speeds, and grades where it holds heights."""

from pathlib import Path

from optimizer.base.errors import UserInputError
from optimizer.study.log_data.mapping import load_mapping
from optimizer.study.log_data.resampling import load_log
from optimizer.study.log_data.rolling import recorded_heights, rolling_stretches, speed_points
from optimizer.study.riding_day import LoggedDay, lasts_s

_SHORTEST_STRETCH_S = 5.0  # assumed: what is shorter is a push or a step
_SHORTEST_S = 20.0


def read_logged_day(log: Path, mapping: Path) -> LoggedDay:
    """Return what a log gives a day.

    Parameters
    ----------
    log : Path
        CSV or Parquet.
    mapping : Path
        Says which column is what.

    Raises
    ------
    UserInputError
        A file can not be read, or the log has no speed or never rolls for long enough.
    """
    known = load_mapping(mapping)
    ride, _ = load_log(log, known)
    if not ride.has("speed_mps"):
        raise UserInputError(
            f"{mapping}: columns.speed_mps: is needed for a riding day; name the column"
        )
    speed = ride.signals["speed_mps"]
    stretches = (
        speed_points(speed[start:end], ride.dt_s) for start, end in rolling_stretches(ride)
    )
    speeds = tuple(points for points in stretches if lasts_s(points) >= _SHORTEST_STRETCH_S)
    rolled_s = sum(map(lasts_s, speeds))
    if rolled_s < _SHORTEST_S:
        raise UserInputError(
            f"{log}: must roll forward for {_SHORTEST_S:g} s or longer, in stretches of"
            f" {_SHORTEST_STRETCH_S:g} s or longer, got {rolled_s:.0f} s; choose a longer log, or"
            f" check sign and unit of columns.speed_mps in {mapping.name}"
        )
    recorded = recorded_heights(ride)
    return LoggedDay(speeds=speeds, heights=None if recorded is None else recorded[0])
