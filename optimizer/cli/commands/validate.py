"""The command that tests selected profiles before the first ride."""

from pathlib import Path
from typing import Annotated

import typer

from optimizer.base.atomic_files import refuse_existing
from optimizer.base.pick_names import BASELINE_NAME, PICKS
from optimizer.cli.loading import loading
from optimizer.cli.options import AsJson, Folder, Force, Jobs, OnDevice, completing, named
from optimizer.study.paths import VALIDATION_FOLDER


def validate_profile(
    folder: Folder,
    which: Annotated[
        list[str] | None,
        typer.Argument(
            metavar="PROFILES",
            help="Numbers, picks or files; default: the baseline.",
            show_default=False,
            autocompletion=completing(BASELINE_NAME, *PICKS),
        ),
    ] = None,
    profile: Annotated[
        list[Path] | None,
        typer.Option(
            parser=named, metavar="FILE", help="A profile file, TOML or JSON; may be repeated."
        ),
    ] = None,
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
    """Test profiles on what the search never saw.

    It simulates other courses and riders, tolerances, faults and a riding day. Each passes, is
    marginal or fails, with what to change. The baseline rides beside them on the same days. A page
    films every nose-down.

    Example: levelgain validate my_board balanced fewest_nose_downs
    """
    with loading():
        from optimizer.analysis.profile_source import any_profile, selected_profile
        from optimizer.cli.console import console, print_cautions, print_json
        from optimizer.cli.output.validate import (
            print_validation,
            print_verdicts,
            refuse_same_stem,
        )
        from optimizer.cli.stages_view import StagesView
        from optimizer.execution.devices import on_device
        from optimizer.interface.profiles import validate_several
        from optimizer.interface.studies import load_study
        from optimizer.interface.threads import n_threads
        from optimizer.reports.page.nose_downs import film_nose_downs
        from optimizer.reports.validation_report import films_path, verdict_paths, write_verdict
        from plant.description.profile_array import array_to_profile

    study = load_study(folder)
    selected = [any_profile(study, text) for text in which or ()]
    selected += [selected_profile(study, None, path) for path in profile or ()]
    selected = selected or [selected_profile(study, None, None)]
    # Picks that are one candidate are one profile.
    rows = {called: row for row, called, _ in selected}
    profiles = {called: array_to_profile(row) for called, row in rows.items()}
    stems = {called: stem for _, called, stem in selected}
    refuse_same_stem(stems)
    place = folder / VALIDATION_FOLDER if to is None else to
    paths = {called: verdict_paths(place, stem) for called, stem in stems.items()}
    films = {called: films_path(place, stem) for called, stem in stems.items()}
    if not force:
        refuse_existing(
            [path for called in stems for path in (*paths[called], films[called])],
            advice="give --force to replace it, or --to another folder",
        )
    out = console(as_json=as_json)
    with StagesView(out) as stages:
        found = validate_several(
            study,
            profiles,
            hours=hours,
            accelerated=accelerated,
            jobs=jobs,
            device=device,
            on_progress=stages.show,
        )
        n_filmed = {}
        for facts in found:
            called = facts["called"]
            n_filmed[called] = film_nose_downs(
                films[called],
                on_device(study, device),
                rows[called],
                facts["nose_down_places"],
                called=called,
                n_jobs=n_threads(jobs),
                stages=stages,
            )
            write_verdict(facts, paths[called], films=films[called] if n_filmed[called] else None)
    if as_json:
        print_json(found[0] if len(found) == 1 else found)
        return
    for facts in found:
        called = facts["called"]
        print_validation(out, facts, paths[called], folder=folder)
        if n_filmed[called]:
            out.print(f"{films[called]} films {n_filmed[called]} of its nose-downs.\n")
    print_verdicts(out, found)
    print_cautions(out)
