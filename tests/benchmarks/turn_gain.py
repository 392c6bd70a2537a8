"""What the turn response does in a study's bends: python -m tests.benchmarks.turn_gain FOLDER.

Profiles of the front of a finished search ride the study's own courses with bends, each with a
row of turn gains in place of its own. Printed are the mean level error of these rides and the
least headroom to the nose, for each gain, and how many profiles ride most level with it.

FOLDER holds `study.toml` and `results/front.csv`, so that a front may ride in another checkout.
"""

import argparse
import csv
import sys
from pathlib import Path

import numpy as np

from optimizer.study.load import load_study
from plant.description.profile_array import PROFILE_NAMES, profile_to_array
from plant.kernel.simulate import simulate

GAINS_DEG_PER_MPS2 = (0.0, 0.2, 0.4, 0.6, 0.8, 1.0)
_CAP_DEG = 4.0  # above what the gains ask for at 45 deg/s and 5 m/s


def front_profiles(folder, baseline, n_profiles):
    """Return profiles spread evenly over a front, (profile, parameter)."""
    with (folder / "results" / "front.csv").open() as file:
        front = list(csv.DictReader(file))
    chosen = front[:: max(len(front) // n_profiles, 1)][:n_profiles]
    return np.array(
        [
            [float(row.get(name, was)) for name, was in zip(PROFILE_NAMES, baseline, strict=True)]
            for row in chosen
        ]
    )


def in_bends(study, profiles, gain):
    """Return level error in deg, (profile,), and the least headroom, with one turn gain."""
    rides = [ride for ride in study.rides if np.any(np.array(ride.course.manoeuvre.turn_deg_per_s))]
    changed = profiles.copy()
    changed[:, PROFILE_NAMES.index("turn_gain_deg_per_mps2")] = gain
    changed[:, PROFILE_NAMES.index("turn_lift_cap_deg")] = _CAP_DEG
    ridden = simulate(changed, rides)
    level = ridden.column("hold_pitch_rms_deg").mean(axis=1)
    return level, ridden.column("least_nose_margin_ratio").min()


def main():
    """Print one line for each gain."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawTextHelpFormatter
    )
    parser.add_argument("folder", type=Path)
    parser.add_argument("--profiles", type=int, default=10)
    asked = parser.parse_args()
    study = load_study(asked.folder)
    profiles = front_profiles(asked.folder, profile_to_array(study.baseline), asked.profiles)
    level, headroom = zip(
        *(in_bends(study, profiles, gain) for gain in GAINS_DEG_PER_MPS2), strict=True
    )
    best = np.argmin(np.array(level), axis=0)
    for place, gain in enumerate(GAINS_DEG_PER_MPS2):
        sys.stdout.write(
            f"gain {gain:.1f} deg per m/s2: level error {level[place].mean():.2f} deg, least nose "
            f"headroom {headroom[place]:.2f}, best of {np.count_nonzero(best == place)} profiles\n"
        )


if __name__ == "__main__":
    main()
