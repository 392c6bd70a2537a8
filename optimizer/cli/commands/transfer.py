"""The command that carries a profile over to another board."""

from pathlib import Path

import joblib
import numpy as np
import pandas as pd
import tomli_w
import typer

from objectives import OBJECTIVES
from optimizer.analysis.candidate import failures
from optimizer.analysis.profile_source import chosen_profile
from optimizer.analysis.transfer import Distance, Scaling, distance_to_optimum, scaling, transferred
from optimizer.base.atomic_files import refuse_existing, write_whole
from optimizer.base.cautions import CAUTIONS
from optimizer.base.errors import UserInputError
from optimizer.base.json_io import json_text
from optimizer.cli.console import console, print_cautions, print_table
from optimizer.cli.search_view import SearchView
from optimizer.cli.stages_view import StagesView
from optimizer.reports.profile_export import profile_sections
from optimizer.study.load import load_study
from optimizer.study.paths import EXPORTS_FOLDER
from plant.description.profile_array import PROFILE_NAMES, array_to_profile


def transfer(
    *,
    folder: Path,
    new_folder: Path,
    which: str | None,
    profile: Path | None,
    candidates: int,
    jobs: int | None,
    force: bool,
    as_json: bool,
) -> None:
    """Rescale a profile for another motor, wheel or pack, ride it there, and say how good it is."""
    out = console(as_json=as_json)
    with StagesView(out) as stages:
        stages.begin("reading the studies")
        old, new = load_study(folder), load_study(new_folder)
        row, called, stem = chosen_profile(old, which, profile)
    path = new_folder / EXPORTS_FOLDER / f"transferred_{stem}.toml"
    if not force:
        refuse_existing([path], advice="give --force to replace it")
    by = scaling(old, new)
    moved = transferred(row, by, new.board)
    try:
        sections = profile_sections(array_to_profile(moved))
    except ValueError as error:
        raise UserInputError(
            f"{new_folder}: scaled by {by.current_ratio:.3g} the profile is outside what a profile"
            f" can be: {error}; the boards are too far apart"
        ) from None
    with SearchView(new, out) as view:
        found = distance_to_optimum(
            new,
            moved,
            n_candidates=candidates,
            n_jobs=jobs or joblib.cpu_count(),
            on_generation=view.update,
        )
    failed = failures(found.constraints)
    write_whole(
        path,
        "\n".join(
            [
                *(f"# {caution}" for caution in CAUTIONS),
                f"# Transferred from {called}: currents times {by.current_ratio:.4g}.",
                *(f"# FAILS: {line}" for line in failed),
                "",
                tomli_w.dumps({"profile": sections}),
            ]
        ),
    )
    if as_json:
        typer.echo(json_text(_told(by, found, failed)), nl=False)
        return
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
    for line in failed:
        out.print(f"FAILS: {line}")
    out.print(f"{path} written. Prove it: levelgain validate {new_folder} --profile {path}")
    print_cautions(out)


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


def _told(by: Scaling, found: Distance, failed: list[str]) -> dict[str, object]:
    return {
        "current_ratio": by.current_ratio,
        "torque_ratio": by.torque_ratio,
        "radius_ratio": by.radius_ratio,
        "mass_ratio": by.mass_ratio,
        "weighted_cost_ratio": found.cost,
        "best_weighted_cost_ratio": found.best_cost,
        "objectives": dict(zip(OBJECTIVES, found.objectives.tolist(), strict=True)),
        "best_objectives": dict(zip(OBJECTIVES, found.best_objectives.tolist(), strict=True)),
        "failed_constraints": failed,
        "searched_candidates": found.n_candidates,
    }
