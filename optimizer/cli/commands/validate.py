"""The command that proves a chosen profile before the first ride."""

import dataclasses
from pathlib import Path

import joblib
import typer

from optimizer.analysis.profile_source import chosen_profile
from optimizer.base.json_io import json_text
from optimizer.cli.console import console, print_cautions
from optimizer.cli.stages_view import StagesView
from optimizer.reports.validation_report import refuse_replacing, told, verdict_paths, write_verdict
from optimizer.study.load import load_study
from optimizer.study.paths import VALIDATION_FOLDER
from optimizer.validation.validate import validate

_STYLE = {"pass": "green", "marginal": "yellow", "fail": "bold red"}


def validate_profile(
    *,
    folder: Path,
    which: str | None,
    profile: Path | None,
    hours: float | None,
    jobs: int | None,
    to: Path | None,
    force: bool,
    as_json: bool,
) -> None:
    """Prove a profile on rides it was not tuned on; the baseline when none is named."""
    study = load_study(folder)
    row, called, stem = chosen_profile(study, which, profile)
    paths = verdict_paths(folder / VALIDATION_FOLDER if to is None else to, stem)
    if not force:
        refuse_replacing(paths)
    if hours is not None:
        study = dataclasses.replace(
            study, validation=dataclasses.replace(study.validation, hours=hours)
        )
    out = console(as_json=as_json)
    with StagesView(out) as stages:
        report = validate(study, row, n_jobs=jobs or joblib.cpu_count(), stages=stages)
    facts = told(study, report, called=called)
    write_verdict(facts, paths)
    if as_json:
        typer.echo(json_text(facts), nl=False)
        return
    for verdict in report.verdicts:
        out.print(f"{verdict.grade:9s}", style=_STYLE[verdict.grade], end=" ")
        out.print(f"{verdict.item}: {verdict.found}")
        if verdict.change:
            out.print(f"          To change: {verdict.change}")
    out.print(f"\n{called}: {facts['overall']}. {paths[0]} and {paths[1]} written.")
    print_cautions(out)
