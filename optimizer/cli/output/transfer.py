"""A profile carried over to another board: its file, and what is printed of it."""

from collections.abc import Mapping
from typing import Any

import numpy as np
import pandas as pd
import tomli_w
from numpy.typing import NDArray
from rich.console import Console

from objectives import OBJECTIVES
from optimizer.analysis.transfer import Distance
from optimizer.base.cautions import CAUTIONS
from optimizer.base.printable import one_line
from optimizer.cli.console import print_table
from optimizer.study.scaling import Scaling
from plant.description.profile_array import PROFILE_NAMES


def profile_text(sections: Mapping[str, Any], *, called: str, by: Scaling, found: Distance) -> str:
    """Return the text of a profile file, headed by cautions and by the constraints it fails.

    Parameters
    ----------
    sections : mapping
        The profile; see `optimizer.reports.profile_export.profile_sections`.
    called : str
        What the profile is called that was transferred.
    by : Scaling
    found : Distance
    """
    return "\n".join(
        [
            *(f"# {caution}" for caution in CAUTIONS),
            f"# Transferred from {one_line(called)}: currents times {by.current_ratio:.4g}.",
            *(f"# FAILS: {line}" for line in found.fails),
            "",
            tomli_w.dumps({"profile": sections}),
        ]
    )


def print_transfer(
    out: Console,
    row: NDArray[np.float64],
    moved: NDArray[np.float64],
    *,
    by: Scaling,
    found: Distance,
) -> None:
    """Print what the transfer changed, and how far the profile is from the board's own optimum.

    Parameters
    ----------
    out : Console
    row, moved : (parameter,) float64
        The profile before and after, in the order of
        `plant.description.profile_array.PROFILE_NAMES`.
    by : Scaling
    found : Distance
    """
    changed = np.flatnonzero(moved != row)
    print_table(
        out,
        pd.DataFrame(
            {
                "parameter": [PROFILE_NAMES[place] for place in changed],
                "before": row[changed],
                "transferred": moved[changed],
                "own_optimum": found.best[changed],
            }
        ),
    )
    out.print(
        f"\nCurrents times {by.current_ratio:.3f}: torque per amp {by.torque_ratio:.3f}, radius"
        f" {by.radius_ratio:.3f}, moved mass {by.mass_ratio:.3f} times what they were."
    )
    out.print(_verdict(found))
    for line in found.fails:
        out.print(f"FAILS: {line}")


def transfer_facts(by: Scaling, found: Distance) -> dict[str, object]:
    """Return the ratios of the transfer and the costs of both profiles, for JSON."""
    return {
        "current_ratio": by.current_ratio,
        "torque_ratio": by.torque_ratio,
        "radius_ratio": by.radius_ratio,
        "mass_ratio": by.mass_ratio,
        "weighted_cost_ratio": found.cost,
        "best_weighted_cost_ratio": found.best_cost,
        "objectives": dict(zip(OBJECTIVES, found.objectives.tolist(), strict=True)),
        "best_objectives": dict(zip(OBJECTIVES, found.best_objectives.tolist(), strict=True)),
        "failed_constraints": found.fails,
        "searched_candidates": found.n_candidates,
    }


def _verdict(found: Distance) -> str:
    if not np.isfinite(found.best_cost):
        return (
            f"None of the {found.n_candidates} candidates of a short search from it meets every"
            " constraint of the new study."
        )
    gap = 100.0 * (found.cost / found.best_cost - 1.0)
    parts = ", ".join(
        f"{name} {before:.3g} → {after:.3g}"
        for name, before, after in zip(
            OBJECTIVES, found.objectives, found.best_objectives, strict=True
        )
    )
    return (
        f"Its weighted cost is {found.cost:.3f}; the best of {found.n_candidates} candidates of a"
        f" short search from it costs {found.best_cost:.3f}, so it is {gap:.0f} % from the board's"
        f" own optimum ({parts})."
    )
