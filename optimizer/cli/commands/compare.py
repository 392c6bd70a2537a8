"""The command that compares profiles, wherever they come from."""

from pathlib import Path
from typing import Annotated

import typer

from optimizer.base.atomic_files import refuse_existing
from optimizer.base.errors import UserInputError
from optimizer.base.pick_names import PICKS
from optimizer.cli.loading import loading
from optimizer.cli.options import AsJsonAlone, Folder, Force, Jobs, OnDevice, completing, named
from optimizer.study.paths import COMPARISON_FOLDER


def compare(
    folder: Folder,
    profiles: Annotated[
        list[str],
        typer.Argument(
            metavar="PROFILES",
            help="Two or more: numbers, picks, 'baseline', or files.",
            show_default=False,
            autocompletion=completing("baseline", *PICKS),
        ),
    ],
    to: Annotated[
        Path | None,
        typer.Option(parser=named, metavar="FOLDER", help="Default: FOLDER/comparison."),
    ] = None,
    jobs: Jobs = None,
    device: OnDevice = None,
    force: Force = False,
    as_json: AsJsonAlone = False,
) -> None:
    """Compare profiles ride by ride.

    All are simulated on every ride of the study, on the noise of its re-evaluation, and the others
    are compared with the first. How they handle is compared too. Figures of traces and loops go to
    FOLDER/comparison.

    Example: levelgain compare my_board baseline balanced mine.toml
    """
    place = folder / COMPARISON_FOLDER if to is None else to
    stems = [place / name for name in ("traces", "loop")]
    with loading():
        from optimizer.cli.console import console, print_json
        from optimizer.cli.output.compare import (
            comparison_facts,
            labelled_profiles,
            print_comparison,
        )
        from optimizer.cli.stages_view import StagesView
        from optimizer.execution.devices import on_device
        from optimizer.execution.hard_rides import with_hard_rides
        from optimizer.interface import figures
        from optimizer.interface.rides import compare as compare_profiles
        from optimizer.interface.studies import load_study
        from optimizer.reports.comparison_figures import MOST_PROFILES
        from optimizer.reports.style import save

    if not 2 <= len(profiles) <= MOST_PROFILES:
        raise UserInputError(
            f"compare: give from 2 to {MOST_PROFILES} profiles, got {len(profiles)};"
            " such as baseline balanced"
        )
    if not force and not as_json:
        files = [stem.with_suffix(suffix) for stem in stems for suffix in (".png", ".svg")]
        refuse_existing(files, advice="give --force to replace it, or --to another folder")
    out = console(as_json=as_json)
    with StagesView(out) as stages:
        stages.begin("reading the study")
        study = on_device(load_study(folder), device)
        labelled = labelled_profiles(study, profiles)
        study = with_hard_rides(study, n_jobs=jobs, stages=stages)
        stages.begin("riding the profiles")
        found = compare_profiles(study, labelled, jobs=jobs)
    if as_json:
        print_json(comparison_facts(found))
        return
    print_comparison(out, found)
    with StagesView(out) as stages:
        stages.begin("drawing", 2)
        written = save(figures.compared_rides(found), stems[0])
        stages.advance()
        written += save(figures.compared_loops(found), stems[1])
    out.print(f"\n{written[0]} and {written[2]} written.")
