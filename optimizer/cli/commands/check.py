"""The command that checks a study file and this machine."""

import shutil
import time
from pathlib import Path

import joblib
import numpy as np
import typer

from optimizer.analysis.candidate import failed_constraints
from optimizer.base.json_io import json_text
from optimizer.cli.console import console
from optimizer.cli.stages_view import StagesView
from optimizer.execution.evaluate import ride_portfolio, rules_of
from optimizer.execution.ride_reuse_report import find_reuse
from optimizer.search.loop import whole_generations
from optimizer.study.load import load_study
from plant.compile import CACHE_FOLDER
from plant.description.profile_array import profile_to_array

_TIMED_CANDIDATES = 16


def check(*, folder: Path, as_json: bool) -> None:
    """Check a study file and this machine, and say how long the study will take."""
    out = console(as_json=as_json)
    jobs = joblib.cpu_count()
    with StagesView(out) as stages:
        stages.begin("reading the study")
        study = load_study(folder)
        rules = rules_of(study)
        baseline = profile_to_array(study.baseline)
        stages.begin("compiling the kernel, if it is new here")
        scores, _ = ride_portfolio(study, baseline[None, :], rules=rules, n_jobs=jobs)
        stages.begin("timing rides")
        started = time.perf_counter()
        batch = np.repeat(baseline[None, :], _TIMED_CANDIDATES, axis=0)
        ride_portfolio(study, batch, rules=rules, n_jobs=jobs)
    per_candidate_s = (time.perf_counter() - started) / _TIMED_CANDIDATES
    wanted = whole_generations(study.n_candidates, population=study.population)
    reuse = find_reuse(study)
    ridden = wanted - reuse.spared_ratio * (1 + len(study.start))
    failed = list(failed_constraints(scores.constraints[0]))
    found = {
        "title": study.title,
        "board": study.board_name,
        "riders": list(study.riders),
        "courses": list(study.courses),
        "rides": len(study.rides),
        "searched_parameters": len(study.space.names),
        "candidates": wanted,
        "baseline_fails": failed,
        "cores": jobs,
        "free_disk_mb": shutil.disk_usage(folder).free // 1_000_000,
        "kernel_cache": str(CACHE_FOLDER),
        "candidate_s": round(per_candidate_s, 4),
        "reused": reuse.told,
        "expected_s": round(per_candidate_s * ridden),
    }
    if as_json:
        typer.echo(json_text(found), nl=False)
        return
    out.print(f"{study.title}: the study file is in order.")
    out.print(
        f"{len(study.riders)} riders over {len(study.courses)} courses: {len(study.rides)} rides;"
        f" {len(study.space.names)} parameters searched; board {study.board_name}."
    )
    out.print(
        f"{jobs} cores, {found['free_disk_mb']} MB free, kernel compiled."
        f" {wanted} candidates will take about {found['expected_s']} s."
    )
    if reuse.told:
        out.print(reuse.told)
    out.print(
        f"The baseline fails: {', '.join(failed)}; the search starts from it all the same."
        if failed
        else "The baseline meets every constraint."
    )
