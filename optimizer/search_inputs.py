"""What of a study decides the search's own sequence, as texts that a store can freeze."""

import json
from dataclasses import asdict
from importlib.metadata import version

from optimizer.proposals import Plan

# Raise when a change to the search changes the candidates it proposes.
METHOD = "generations-2"

_LIBRARIES = ("moocore", "numpy", "optuna", "scipy")


def method_inputs() -> dict[str, str]:
    """Return the method of the search and the libraries whose versions decide its candidates."""
    return {
        "search.method": METHOD,
        **{f"library.{name}": version(name) for name in _LIBRARIES},
    }


def search_inputs(plan: Plan, *, n_objectives: int) -> dict[str, str]:
    """Return what the search itself freezes; its numbers read back exactly."""
    space = plan.space
    bounds = {
        name: [float(low), float(high), "log" if by_ratio else "linear"]
        for name, low, high, by_ratio in zip(
            space.names, space.low, space.high, space.log, strict=True
        )
    }
    return {
        **method_inputs(),
        "search.space": json.dumps(bounds, indent=0),
        "search.baseline": json.dumps(
            dict(zip(space.names, map(float, plan.baseline), strict=True)), indent=0
        ),
        "search.start": json.dumps(plan.start.tolist()),
        "search.n_objectives": str(n_objectives),
        "search.population": str(plan.population),
        "search.seed": str(plan.seed),
        "search.operators": json.dumps(asdict(plan.operators), indent=0),
    }
