"""The example study, its baseline, a shorter day of it, and a profile that is too soft for it."""

import dataclasses

from optimizer.study.catalogue import STUDIES_FOLDER
from optimizer.study.load import load_study
from plant.description.profile_array import PROFILE_NAMES, profile_to_array

STUDY = load_study(STUDIES_FOLDER / "hill_town")
ROW = profile_to_array(STUDY.baseline)
# A day is ridden in batches of 1,024 rides, which last 17 h where each lasts a minute.
SHORT = dataclasses.replace(STUDY, riding_day=dataclasses.replace(STUDY.riding_day, ride_s=10.0))
SHORT_DAY = "[validation]\ndraws = 1\nhours = 0.1\n[riding_day]\nride_s = 10.0\n"


def changed(**values):
    row = ROW.copy()
    for name, value in values.items():
        row[PROFILE_NAMES.index(name)] = value
    return row


# Too soft to catch a nose, on the level and on hills.
WEAK = changed(
    inner_gain_a_per_deg=4.0,
    base_gain_a_per_deg=1.5,
    mid_gain_ratio=1.0,
    outer_gain_ratio=1.0,
    uphill_gain_deg_per_mps2=0.0,
    stiffness_lift_per_mps2=0.0,
)
