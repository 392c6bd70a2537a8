"""Invented logs and mappings, written as a user's recorder would."""

import numpy as np
import pandas as pd

MAPPING = """\
confirmed = true
separator = "{separator}"
decimal = "{decimal}"
board = "lender_15"
rider_mass_kg = 80.0
[columns]
time_s = {{ column = "t", unit = "{time_unit}" }}
current_a = {{ column = "iq", unit = "A" }}
speed_mps = {{ column = "v", unit = "{speed_unit}" }}
pitch_rad = {{ column = "pitch", unit = "{pitch_unit}" }}
pitch_rate_rad_per_s = {{ column = "gyro", unit = "deg/s" }}
"""


def sound(*, n_rows=6000, rate_hz=100.0, seed=1):
    """Return an invented ride: speed follows the current's integral, pitch wobbles about level."""
    random = np.random.default_rng(seed)
    t = np.arange(n_rows) / rate_hz
    current = 20.0 * np.sin(0.4 * t) + 8.0 + random.normal(0.0, 1.0, n_rows)
    speed = 4.0 + 2.0 * (1.0 - np.cos(0.4 * t)) + random.normal(0.0, 0.01, n_rows)
    pitch = 3.0 * np.sin(2.0 * t) + random.normal(0.0, 0.02, n_rows)
    gyro = 6.0 * np.cos(2.0 * t) + random.normal(0.0, 0.3, n_rows)
    return pd.DataFrame({"t": t, "iq": current, "v": speed, "pitch": pitch, "gyro": gyro})


def write_mapping(
    path, *, separator="comma", decimal=".", time_unit="s", speed_unit="m/s", pitch_unit="deg"
):
    """Write a confirmed mapping of the invented ride."""
    path.write_text(
        MAPPING.format(
            separator=separator,
            decimal=decimal,
            time_unit=time_unit,
            speed_unit=speed_unit,
            pitch_unit=pitch_unit,
        )
    )
    return path
