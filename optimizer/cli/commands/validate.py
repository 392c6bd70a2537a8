"""The command that tests a selected profile before the first ride."""

from pathlib import Path
from typing import Annotated

import typer

from optimizer.base.atomic_files import refuse_existing
from optimizer.cli.loading import loading
from optimizer.cli.options import AsJson, Folder, Force, Jobs, OnDevice, Profile, WhichIfAny, named
from optimizer.study.paths import VALIDATION_FOLDER

_STYLE = {"pass": "green", "marginal": "yellow", "fail": "bold red"}


def validate_profile(
    folder: Folder,
    which: WhichIfAny = None,
    profile: Profile = None,
    hours: Annotated[
        float | None,
        typer.Option(min=0.1, metavar="H", help="Hours of mixed riding; default: study.toml's."),
    ] = None,
    accelerated: Annotated[
        float | None,
        typer.Option(
            min=0.1,
            metavar="H",
            help="Also estimate nose-downs over H hours.",
        ),
    ] = None,
    jobs: Jobs = None,
    device: OnDevice = None,
    to: Annotated[
        Path | None,
        typer.Option(parser=named, metavar="FOLDER", help="Default: FOLDER/validation."),
    ] = None,
    force: Force = False,
    as_json: AsJson = False,
) -> None:
    """Test a profile on what the search never saw.

    It simulates other courses and riders, tolerances, faults and a riding day. Each passes, is
    marginal or fails, with what to change and what prevents each nose-down. Without a profile it
    takes the baseline.

    Example: levelgain validate my_board balanced
    """
    with loading():
        from optimizer.analysis.profile_source import selected_profile
        from optimizer.cli.console import console, print_cautions, print_json
        from optimizer.cli.stages_view import StagesView
        from optimizer.interface.profiles import validate
        from optimizer.interface.studies import load_study
        from optimizer.reports.validation_report import verdict_paths, write_verdict
        from plant.description.profile_array import array_to_profile

    study = load_study(folder)
    row, called, stem = selected_profile(study, which, profile)
    paths = verdict_paths(folder / VALIDATION_FOLDER if to is None else to, stem)
    if not force:
        refuse_existing(paths, advice="give --force to replace it, or --to another folder")
    out = console(as_json=as_json)
    with StagesView(out) as stages:
        facts = validate(
            study,
            array_to_profile(row),
            called=called,
            hours=hours,
            accelerated=accelerated,
            jobs=jobs,
            device=device,
            on_progress=stages.show,
        )
    write_verdict(facts, paths)
    if as_json:
        print_json(facts)
        return
    for verdict in facts["verdicts"]:
        out.print(f"{verdict['grade']:9s}", style=_STYLE[verdict["grade"]], end=" ")
        out.print(f"{verdict['item']}: {verdict['found']}")
        if verdict["change"]:
            out.print(f"          Asked: {verdict['asked']}.")
            out.print(f"          To change: {verdict['change']}")
    if facts["remedies"] is not None:
        out.print("\n" + "\n          ".join(facts["remedies"]["lines"]))
    if facts["accelerated"] is not None:
        out.print(f"\n{facts['accelerated']['line']}.")
    out.print(f"\n{called}: {facts['overall']}. {paths[0]} and {paths[1]} written.")
    print_cautions(out)
