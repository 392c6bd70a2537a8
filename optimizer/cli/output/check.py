"""What a study file asks for, and how long this machine takes over it."""

import dataclasses
import shutil
import time
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
from rich.console import Console

from optimizer.analysis.candidate import failed_constraints
from optimizer.analysis.ride_statics import statics_of
from optimizer.analysis.statics_text import hopeless_lines, statics_rows, tight_lines
from optimizer.analysis.study_warnings import study_warnings
from optimizer.base.cores import n_cores
from optimizer.base.messages import counted
from optimizer.base.printable import one_line
from optimizer.base.toml_io import parse_toml
from optimizer.cli.console import print_table
from optimizer.cli.stages_view import StagesView
from optimizer.execution.baseline_handling import not_compared
from optimizer.execution.devices import on_device
from optimizer.execution.evaluate import ride_portfolio, rules_of
from optimizer.execution.ride_reuse_report import find_reuse
from optimizer.interface.studies import load_study
from optimizer.riding_day.pieces import LEAD_IN_S, PIECE_S
from optimizer.search.loop import whole_generations
from optimizer.study.derived import derived_lines
from optimizer.study.load import INNER_NAMES
from optimizer.study.own_courses import own_courses
from optimizer.study.paths import STUDY_FILE
from optimizer.study.riding_day import RidingDay, lasts_s
from optimizer.study.route import steepest_percent
from optimizer.study.study import Study
from plant.compile import CACHE_FOLDER
from plant.description.profile_array import PROFILE_NAMES, profile_to_array
from plant.device import Device

_TIMED_CANDIDATES = 16
# For an hour ridden to find hard rides: second profiles, lead-ins, roads that are drawn and laid.
_RIDDEN_PER_DAY_H = 2.0


_RIDES_ON: dict[Device, str] = {"cpu": "the processor rides", "cuda": "the GPU rides"}


def study_facts(folder: Path, out: Console, *, device: Device | None = None) -> dict[str, Any]:
    """Return what a study asks for, what its baseline fails, and how long a run takes here.

    Parameters
    ----------
    folder : Path
    out : Console
        Where a bar is shown while some candidates are ridden and timed.
    device : Device, optional
        What would ride; the study's own if not given.

    Raises
    ------
    UserInputError
        The study can not be read, or this machine lacks the device.
    """
    jobs = n_cores()
    with StagesView(out) as stages:
        stages.begin("reading the study")
        study = on_device(load_study(folder), device)
        # Of the limits themselves; only the search stays inside them by a margin.
        rules = rules_of(dataclasses.replace(study, on_search_noise=False), hard=False)
        baseline = profile_to_array(study.baseline)
        stages.begin("compiling the kernel, if it is new here")
        scores, _ = ride_portfolio(study, baseline[None, :], rules=rules, n_jobs=jobs)
        stages.begin("timing rides")
        started = time.perf_counter()
        # A GPU takes as long over a generation as over a few.
        n_timed = _TIMED_CANDIDATES if study.device == "cpu" else study.population
        batch = np.repeat(baseline[None, :], n_timed, axis=0)
        ride_portfolio(study, batch, rules=rules, n_jobs=jobs)
    statics, courses = statics_of(study.rides), own_courses(study)
    warnings = [*study_warnings(study), *(line for course in courses for line in course.warnings)]
    own_s = sum(ride.course.duration_s for ride in study.rides + study.handling)
    s_per_ridden_s = (time.perf_counter() - started) / (n_timed * own_s)
    per_candidate_s = s_per_ridden_s * (own_s + study.n_hard_rides * (PIECE_S + LEAD_IN_S))
    finding_s = s_per_ridden_s * 3600.0 * study.hard_rides_h * _RIDDEN_PER_DAY_H
    wanted = whole_generations(study.n_candidates, population=study.population)
    reuse = find_reuse(study)
    ridden = wanted - reuse.reused_ratio * (1 + len(study.start))
    return {
        "title": study.title,
        "board": _board_in_words(study),
        "derived": derived_lines(study),
        "own_courses": [dataclasses.asdict(course) for course in courses],
        "own_courses_told": [str(course) for course in courses],
        "warnings": warnings,
        "statics": statics_rows(statics),
        "hopeless": hopeless_lines(statics),
        "tight": tight_lines(statics),
        "riders": list(study.riders),
        "courses": list(study.courses),
        "rides": len(study.rides),
        "searched_parameters": len(study.space.names),
        "riding_day": _day_in_words(study.riding_day),
        "not_searched": _not_searched(study),
        "candidates": wanted,
        "not_compared": not_compared(study),
        "baseline_fails": list(failed_constraints(scores.constraints[0])),
        "device": study.device,
        "cores": jobs,
        "free_disk_mb": shutil.disk_usage(folder).free // 1_000_000,
        "kernel_cache": str(CACHE_FOLDER),
        "candidate_s": round(per_candidate_s, 4),
        "reused": reuse.summary,
        "expected_s": round(per_candidate_s * ridden + finding_s),
    }


def _board_in_words(study: Study) -> str:
    """Return the name of the board's entry, and whether the study file changes it."""
    written = parse_toml(study.text, path=study.folder / STUDY_FILE)["board"]
    changed = isinstance(written, dict) and set(written) != {"use"}
    own = "of its own" if study.board_name == "own" else study.board_name
    return f"{own} with changes" if changed and study.board_name != "own" else own


def _day_in_words(day: RidingDay) -> str:
    """Return where the grades and the wanted speeds of the riding day come from."""
    grades = "grades drawn at random"
    if day.routes:
        km = sum(float(route.distance_m[-1]) for route in day.routes) / 1000.0
        steepest = max(steepest_percent(route) for route in day.routes)
        n_routes = "1 route" if len(day.routes) == 1 else f"{len(day.routes)} routes"
        grades = f"grades from {n_routes}, {km:.1f} km, steepest {steepest:.0f} %"
    return f"{grades}; {_speeds_in_words(day)}"


def _speeds_in_words(day: RidingDay) -> str:
    if not day.logged_mps:
        return f"speeds drawn at random, {day.slow_mps:g} to {day.fast_mps:g} m/s"
    minutes = sum(map(lasts_s, day.logged_mps)) / 60.0
    speeds = [speed for points in day.logged_mps for _, speed in points]
    return f"speeds from a log of {minutes:.1f} min, {min(speeds):.1f} to {max(speeds):.1f} m/s"


def _not_searched(study: Study) -> list[str]:
    """Return the parameters of the study's control law that keep the baseline's value."""
    outside = INNER_NAMES if study.structure == "single" else ()
    return [name for name in PROFILE_NAMES if name not in (*study.space.names, *outside)]


def print_check(out: Console, facts: dict[str, Any]) -> None:
    """Print what `study_facts` found."""
    out.print(f"{one_line(facts['title'])}: the study file is in order.")
    out.print(
        f"{counted(len(facts['riders']), 'rider')} over {counted(len(facts['courses']), 'course')}:"
        f" {counted(facts['rides'], 'ride')}; {facts['searched_parameters']} parameters searched;"
        f" board {facts['board']}."
    )
    for line in facts["derived"]:
        out.print(line)
    for line in (*facts["own_courses_told"], *facts["warnings"]):
        out.print(line)
    out.print("Each rider's hardest ride by statics, grade and air held without acceleration:")
    print_table(out, pd.DataFrame(facts["statics"]))
    for line in (*facts["hopeless"], *facts["tight"]):
        out.print(line)
    out.print(f"Riding day: {facts['riding_day']}.")
    if facts["not_searched"]:
        out.print(
            f"Not searched, at the baseline's value: {', '.join(facts['not_searched'])}. Give"
            " search.bounds to search them; search.fixed prevails."
        )
    out.print(
        f"{facts['cores']} cores, {facts['free_disk_mb']} MB free, kernel compiled;"
        f" {_RIDES_ON[facts['device']]}."
        f" {facts['candidates']} candidates will take about {facts['expected_s']} s."
    )
    if facts["reused"]:
        out.print(facts["reused"])
    if facts["not_compared"]:
        out.print(facts["not_compared"])
    failed = facts["baseline_fails"]
    out.print(
        f"The baseline fails: {', '.join(failed)}; the search starts from it all the same."
        if failed
        else "The baseline meets every constraint."
    )
