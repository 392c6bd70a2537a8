"""Which terms a ridden controller has: those without which the log is explained worse."""

import dataclasses
import itertools
import math
from collections.abc import Mapping, Sequence

import numpy as np

from optimizer.ridelog.fits.controller_data import ControllerData, smoothed
from optimizer.ridelog.fits.controller_law import LOAD_EXPECTED, SETTINGS
from optimizer.ridelog.fits.controller_terms import FIRM, LOAD, QUICK, Term
from optimizer.ridelog.fits.robust_fit import Residuals, Unknown, best, explained
from plant.arrays import Floats


class Law:
    """The law over a segment, with some of its settings unknown."""

    def __init__(self, data: ControllerData, neutral: Floats) -> None:
        self._data, self._neutral = data, neutral

    def residuals_of(self, unknowns: Sequence[Unknown]) -> Residuals:
        """Return the residuals as a function of the values of these settings."""
        return lambda value: self._data.residuals(unknowns, value, self._neutral)

    def noisier(self, sigma_mps: float, random: np.random.Generator) -> "Law":
        """Return the same over a segment whose wheel speed holds as much noise again."""
        signals = self._data.signals.copy()
        noise = np.asarray(random.standard_normal(signals.shape[1]) * sigma_mps)
        signals[2] += smoothed(noise, self._data.dt_s)
        return Law(dataclasses.replace(self._data, signals=signals), self._neutral)

    def selected(self, terms: Sequence[Term]) -> tuple[tuple[Unknown, ...], list[Term]]:
        """Return the unknowns worth fitting, at their values so far, and the absent terms.

        All are fitted together first, for one that is left out is mimicked by others. A term
        is present when without it the loss grows by more than its unknowns cost by Schwarz's
        criterion (1978, Annals of Statistics 6:461), twice over for residuals that hang together.
        """
        found = {term.text: (*term.size, *map(self._begun, term.shape)) for term in terms}
        every = (*QUICK, *itertools.chain(*found.values()))
        (kept, left), (other, its) = self._fitted(every), self._staged(every)
        if explained(left, its) > 0.0:
            kept, left = other, its
        absent = []
        for term in reversed(terms):
            own = {unknown.name for unknown in found[term.text]}
            fewer, more = self._fitted(tuple(one for one in kept if one.name not in own))
            if explained(more, left) < 2.0 * len(own) * math.log(len(left)):
                absent.append(term)
                kept, left = fewer, more
        sizes = [unknown for term in absent for unknown in term.size]
        return self._fitted((*kept, *sizes))[0] if sizes else kept, absent

    def _staged(self, unknowns: tuple[Unknown, ...]) -> tuple[tuple[Unknown, ...], Floats]:
        """Return the same as `_fitted`, from a firm board whose load response is sized first.

        Deadband and slew rates matter only once the response is about as strong as it should be.
        """
        shape = {unknown.name for unknown in LOAD.shape}
        first = tuple(one for one in _starting(unknowns, FIRM) if one.name not in shape)
        sized = {one.name: one.start for one in self._fitted(first)[0]}
        return self._fitted(_starting(unknowns, sized))

    def _begun(self, unknown: Unknown) -> Unknown:
        own = float(self._neutral[SETTINGS.index(unknown.name)])
        return dataclasses.replace(unknown, start=own) if unknown.name == LOAD_EXPECTED else unknown

    def _fitted(self, unknowns: tuple[Unknown, ...]) -> tuple[tuple[Unknown, ...], Floats]:
        """Return the unknowns starting at their best values, and what is left over."""
        value, left = best(self.residuals_of(unknowns), unknowns)
        begun = zip(unknowns, value.tolist(), strict=True)
        return tuple(dataclasses.replace(one, start=start) for one, start in begun), left


def _starting(unknowns: Sequence[Unknown], at: Mapping[str, float]) -> tuple[Unknown, ...]:
    """Return the unknowns with these starts, where there is one."""
    return tuple(dataclasses.replace(one, start=at.get(one.name, one.start)) for one in unknowns)
