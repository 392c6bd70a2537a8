"""What of a study decides the search's own sequence, as texts that a store can freeze."""

import json
from collections.abc import Iterable
from dataclasses import asdict

from optimizer.base.versions import PROPOSING, library_versions
from optimizer.search.plan import Plan

# Raise when a change to the search changes the candidates it proposes.
METHOD = "generations-8"

WEIGHTS = "search.weights"
POPULATION = "search.population"


def method_inputs() -> dict[str, str]:
    """Return the method of the search and the libraries whose versions decide its candidates."""
    return {"search.method": METHOD, **library_versions(PROPOSING)}


def weights_text(weights: Iterable[float]) -> str:
    """Return weights of the objectives as the text under `WEIGHTS`; it reads back exactly."""
    return json.dumps([float(weight) for weight in weights])


def search_inputs(plan: Plan) -> dict[str, str]:
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
        "search.n_objectives": str(plan.n_objectives),
        POPULATION: str(plan.population),
        "search.seed": str(plan.seed),
        WEIGHTS: weights_text(plan.weights),
        "search.composition": plan.composite.name,
        "search.operators": json.dumps(asdict(plan.operators), indent=0),
        "search.descent": json.dumps(asdict(plan.descent), indent=0),
    }
