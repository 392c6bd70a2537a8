"""What a cell's voltage at rest is by its charge, for each chemistry."""

import types
from collections.abc import Mapping
from typing import Literal

import numpy as np

Chemistry = Literal["nmc", "lfp"]

CELL_INTERVALS = 20
# At states of charge 0, 0.05 ... 1.
CELL_OCV_V: Mapping[str, tuple[float, ...]] = types.MappingProxyType(
    {
        # NMC and graphite, LG M50: Chen et al. 2020, J. Electrochem. Soc. 167:080534.
        "nmc": (
            *(2.5, 3.1094, 3.2959, 3.4339, 3.4852, 3.5286, 3.5814, 3.6290, 3.6670, 3.7054, 3.7509),
            *(3.7983, 3.8406, 3.8896, 3.9479, 3.9943, 4.0421, 4.0809, 4.0967, 4.1236, 4.2),
        ),
        # LFP and graphite, a 2.3 Ah cell of 26 mm: Prada et al. 2013, J. Electrochem. Soc.
        # 160:A616, as pybamm's parameter set of that name has it, from 2.0 V to 3.6 V.
        "lfp": (
            *(2.0, 2.7853, 2.9781, 3.1080, 3.1685, 3.1857, 3.2058, 3.2324, 3.2525, 3.2621, 3.2660),
            *(3.2678, 3.2688, 3.2700, 3.2740, 3.2926, 3.3097, 3.3132, 3.3142, 3.3164, 3.6),
        ),
    }
)


def open_circuit_voltage(charge_ratio: float, chemistry: str) -> float:
    """Return the voltage of one cell at rest in V, linear between the table's points.

    A cell charged beyond full rises on along the last slope.
    """
    table = CELL_OCV_V[chemistry]
    beyond = max(charge_ratio - 1.0, 0.0) * CELL_INTERVALS * (table[-1] - table[-2])
    return float(np.interp(charge_ratio, _CHARGE_RATIOS, table)) + beyond


def charge_of(cell_v: float, chemistry: str) -> float:
    """Return the state of charge at which a cell rests at a voltage, from 0 to 1."""
    return float(np.interp(cell_v, CELL_OCV_V[chemistry], _CHARGE_RATIOS))


_CHARGE_RATIOS = np.linspace(0.0, 1.0, CELL_INTERVALS + 1)
