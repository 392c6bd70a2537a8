"""All fits of board and controller to a log, and what the log does not determine."""

import functools
from collections.abc import Mapping
from typing import TypeAlias

from optimizer.base.progress import UNWATCHED, Stages
from optimizer.ridelog.fits.attitude import fit_attitude, fit_gyro
from optimizer.ridelog.fits.controller import fit_controller
from optimizer.ridelog.fits.heat import fit_heat
from optimizer.ridelog.fits.motor import fit_motor
from optimizer.ridelog.fits.pack import fit_pack
from optimizer.ridelog.fits.road import fit_road
from optimizer.ridelog.fits.robust_fit import Fit
from optimizer.study.log_data.mapping import LogMapping
from optimizer.study.log_data.resampling import RideLog

Fits: TypeAlias = Mapping[str, Fit | str]  # by subject; a text says why there is no fit


def fit_all(log: RideLog, mapping: LogMapping, *, stages: Stages = UNWATCHED) -> Fits:
    """Return every fit that the log's channels allow, by subject.

    Parameters
    ----------
    log : RideLog
    mapping : LogMapping
    stages : Stages
        Is given each subject as its fit begins.
    """
    board = mapping.board
    subjects = {
        "road load": functools.partial(fit_road, log, board, mapping.rider_mass_kg),
        "motor": functools.partial(fit_motor, log, board),
        "pack": functools.partial(fit_pack, log, board),
        "heat of the winding": functools.partial(fit_heat, log, board, winding=True),
        "heat of the MOSFETs": functools.partial(fit_heat, log, board, winding=False),
        "attitude filter": functools.partial(fit_attitude, log),
        "gyro": functools.partial(fit_gyro, log),
        "controller": functools.partial(fit_controller, log, board, mapping.rider_mass_kg),
    }
    fits: dict[str, Fit | str] = {}
    for subject, fit in subjects.items():
        stages.begin(f"fitting: {subject}")
        fits[subject] = fit()
    return fits
