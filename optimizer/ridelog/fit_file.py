"""The fits of a log in a file, with what they were made of, so that they pass for no other's."""

import hashlib
import json
import math
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import numpy as np

import plant
from optimizer import ridelog
from optimizer.base.errors import LogError
from optimizer.base.hashing import digest
from optimizer.base.reading import read_text
from optimizer.base.source_digest import source_digest
from optimizer.ridelog.fits.all_fits import Fits
from optimizer.ridelog.fits.block_bootstrap import CONFIDENCE
from optimizer.ridelog.fits.robust_fit import Fit
from optimizer.study import log_data
from optimizer.study.log_data.mapping import LogMapping
from plant.arrays import Floats

VERSION = 1
_ROAD = "road load"  # whose residuals give the ridden route its grades
_MOST_BYTES = 64 * 2**20
_WHAT = {
    "log": "another log",
    "mapping": "another mapping",
    "board": "another board of the catalogue",
    "program": "another version of this program",
}


def made_of(log: Path, mapping: LogMapping) -> dict[str, str]:
    """Return digests of all that decides the fits of a log, by the names of `_WHAT`."""
    packages = (plant, ridelog, log_data)
    return {
        "log": hashlib.sha256(log.read_bytes()).hexdigest(),
        "mapping": hashlib.sha256(mapping.path.read_bytes()).hexdigest(),
        "board": digest(mapping.board),
        "program": source_digest(Path(package.__path__[0]) for package in packages),
    }


def fit_facts(fits: Fits, made: Mapping[str, str], *, log: Mapping[str, Any]) -> dict[str, Any]:
    """Return the fits as plain values: estimates, intervals, correlations, what is unknown.

    Parameters
    ----------
    fits : Fits
    made : mapping of str to str
        From `made_of`.
    log : mapping
        Facts of the log.
    """
    facts = {
        subject: {"no_fit": fit} if isinstance(fit, str) else _facts(fit, whole=subject == _ROAD)
        for subject, fit in fits.items()
    }
    return {
        "version": VERSION,
        "made_of": dict(made),
        "content": digest(facts),
        "log": dict(log),
        "fits": facts,
    }


def read_fits(path: Path, made: Mapping[str, str]) -> Fits:
    """Return the fits of a file that were made of the same.

    Only those of the road load have their residuals, of the others none is kept.

    Parameters
    ----------
    path : Path
    made : mapping of str to str
        From `made_of` of what is at hand.

    Raises
    ------
    LogError
        There is no such file, it is damaged or was changed, or it was made of something else; one
        line.
    """
    text = read_text(path, missing="fit the log with: levelgain log fit", most_bytes=_MOST_BYTES)
    try:
        facts = json.loads(text)
        if facts["version"] != VERSION:
            raise LogError(f"{path}: was written by another version of this program")
        for key, what in _WHAT.items():
            if facts["made_of"][key] != made[key]:
                raise LogError(f"{path}: was made with {what}")
        if facts["content"] != digest(facts["fits"]):
            raise LogError(f"{path}: was changed after it was written, or is damaged")
        return {subject: _fit_of(fit) for subject, fit in facts["fits"].items()}
    except (KeyError, TypeError, ValueError, RecursionError) as error:
        if isinstance(error, LogError):
            raise
        raise LogError(f"{path}: holds no whole fit of this version of the program") from None


def _facts(fit: Fit, *, whole: bool) -> dict[str, Any]:
    facts: dict[str, Any] = {
        "title": fit.title,
        "estimates": {
            name: {
                "value": float(fit.value[place]),
                "low": _end(fit.low[place]),
                "high": _end(fit.high[place]),
                "at_bound": bool(fit.at_bound[place]),
                "confidence": CONFIDENCE,
                "interval": "profile likelihood" if fit.profiled[place] else "block bootstrap",
                "correlation": {
                    other: round(float(fit.correlation[place, column]), 3)
                    for column, other in enumerate(fit.names)
                    if column != place
                },
            }
            for place, name in enumerate(fit.names)
        },
        "residual_rms": float((fit.residual**2).mean() ** 0.5),
        "residual_unit": fit.residual_unit,
        "undetermined": list(fit.undetermined),
    }
    if whole:
        facts |= {"time_s": fit.time_s.tolist(), "residual": fit.residual.tolist()}
    return facts


def _fit_of(facts: Mapping[str, Any]) -> Fit | str:
    if "no_fit" in facts:
        return str(facts["no_fit"])
    estimates = facts["estimates"]
    rows = list(estimates.values())
    return Fit(
        title=facts["title"],
        names=tuple(estimates),
        value=_column(rows, "value"),
        low=_column(rows, "low", nothing=-math.inf),
        high=_column(rows, "high", nothing=math.inf),
        profiled=np.array([row["interval"] == "profile likelihood" for row in rows]),
        at_bound=np.array([row["at_bound"] for row in rows], dtype=np.bool_),
        correlation=np.array(
            [[1.0 if own == other else estimates[own]["correlation"][other] for other in estimates]
             for own in estimates]
        ),
        time_s=np.array(facts.get("time_s", ()), dtype=np.float64),
        residual=np.array(facts.get("residual", ()), dtype=np.float64),
        residual_unit=facts["residual_unit"],
        undetermined=tuple(facts["undetermined"]),
    )  # fmt: skip


def _end(value: float) -> float | None:
    """Return an end of an interval; None where there is none, for JSON has no infinity."""
    return float(value) if math.isfinite(value) else None


def _column(rows: list[Mapping[str, Any]], key: str, *, nothing: float | None = None) -> Floats:
    values = [nothing if row[key] is None else row[key] for row in rows]
    return np.array(values, dtype=np.float64)
