"""The command that proves a chosen profile before the first ride."""

import dataclasses
import json
from pathlib import Path
from typing import Annotated

import typer
from rich.progress import BarColumn, Progress, TextColumn, TimeRemainingColumn

from optimizer.chosen import chosen_profile
from optimizer.commands_study import available_cores
from optimizer.printing import console, print_cautions
from optimizer.study_file import load_study
from optimizer.validation import validate
from optimizer.verdict_files import (
    VALIDATION_FOLDER,
    refuse_replacing,
    told,
    verdict_paths,
    write_verdict,
)

_STYLE = {"pass": "green", "marginal": "yellow", "fail": "bold red"}


def validate_profile(
    folder: Annotated[Path, typer.Argument(help="Folder of the study.", show_default=False)],
    which: Annotated[
        str | None, typer.Argument(help="A candidate's number, or the name of a pick.")
    ] = None,
    profile: Annotated[Path | None, typer.Option(help="A profile file of your own.")] = None,
    hours: Annotated[
        float | None, typer.Option(min=0.1, help="Hours of mixed riding; default: the study's.")
    ] = None,
    jobs: Annotated[int | None, typer.Option(min=1, help="Threads; default: all cores.")] = None,
    to: Annotated[Path | None, typer.Option(help="Folder; default: FOLDER/validation.")] = None,
    force: Annotated[bool, typer.Option("--force", help="Replace an earlier validation.")] = False,
    as_json: Annotated[bool, typer.Option("--json", help="Print JSON.")] = False,
) -> None:
    """Prove a profile on rides it was not tuned on; the baseline when none is named.

    Example: levelgain validate my_board balanced
    """
    study = load_study(folder)
    row, called, stem = chosen_profile(study, which, profile)
    paths = verdict_paths(folder / VALIDATION_FOLDER if to is None else to, stem)
    if not force:
        refuse_replacing(paths)
    if hours is not None:
        study = dataclasses.replace(
            study, validation=dataclasses.replace(study.validation, hours=hours)
        )
    out = console()
    with Progress(
        TextColumn("riding days"),
        BarColumn(),
        TextColumn("{task.completed:.0f} of {task.total:.0f} h"),
        TimeRemainingColumn(),
        console=out,
        disable=not out.is_terminal or as_json,
    ) as bar:
        task = bar.add_task("", total=study.validation.hours)
        report = validate(
            study,
            row,
            n_jobs=jobs or available_cores(),
            advance=lambda ridden: bar.advance(task, ridden),
        )
    facts = told(study, report, called=called)
    write_verdict(facts, paths)
    if as_json:
        typer.echo(json.dumps(facts, indent=2, ensure_ascii=False))
        return
    for verdict in report.verdicts:
        out.print(f"[{_STYLE[verdict.grade]}]{verdict.grade:9s}[/] {verdict.item}: ", end="")
        out.print(verdict.found, markup=False)
        if verdict.change:
            out.print(f"          To change: {verdict.change}", markup=False)
    out.print(f"\n{called}: {facts['overall']}. {paths[0]} and {paths[1]} written.", markup=False)
    print_cautions(out)
