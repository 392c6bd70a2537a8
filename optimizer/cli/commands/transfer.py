"""The command that carries a profile over to another board."""

from pathlib import Path
from typing import Annotated

import typer

from optimizer.base.atomic_files import refuse_existing, write_whole
from optimizer.base.errors import ProfileError
from optimizer.cli.loading import loading
from optimizer.cli.options import (
    AsJson,
    Folder,
    Force,
    Jobs,
    OnDevice,
    Profile,
    WhichIfAny,
    named,
)
from optimizer.study.limits import MOST_CANDIDATES
from optimizer.study.paths import EXPORTS_FOLDER


def transfer(
    folder: Folder,
    new_folder: Annotated[
        Path,
        typer.Argument(
            parser=named,
            metavar="NEW_FOLDER",
            help="Folder of a study with the other board.",
            show_default=False,
        ),
    ],
    which: WhichIfAny = None,
    profile: Profile = None,
    candidates: Annotated[
        int,
        typer.Option(min=1, max=MOST_CANDIDATES, metavar="N", help="Candidates to search."),
    ] = 480,
    jobs: Jobs = None,
    device: OnDevice = None,
    force: Force = False,
    as_json: AsJson = False,
) -> None:
    """Rescale a profile for another board.

    The motor, the wheel or the pack may differ. The profile is ridden there, and a short search
    from it says how far it is from the board's own optimum. Takes the baseline where none is named.

    Example: levelgain transfer my_board my_other_board balanced
    """
    with loading():
        from optimizer.analysis.profile_source import selected_profile
        from optimizer.analysis.searched_feels import FeelsSoFar
        from optimizer.analysis.transfer import distance_to_optimum, scaling
        from optimizer.cli.console import console, print_cautions, print_json
        from optimizer.cli.output.transfer import print_transfer, profile_text, transfer_facts
        from optimizer.cli.search_view import SearchView
        from optimizer.cli.stages_view import StagesView
        from optimizer.execution.devices import on_device
        from optimizer.interface.search_progress import searched
        from optimizer.interface.studies import load_study
        from optimizer.interface.threads import n_threads
        from optimizer.reports.profile_export import profile_sections
        from optimizer.study.scaling import transferred
        from plant.description.profile_array import array_to_profile

    out = console(as_json=as_json)
    with StagesView(out) as stages:
        stages.begin("reading the studies")
        old, new = load_study(folder), on_device(load_study(new_folder), device)
        row, called, stem = selected_profile(old, which, profile)
    path = new_folder / EXPORTS_FOLDER / f"transferred_{stem}.toml"
    if not force:
        refuse_existing([path], advice="give --force to replace it")
    by = scaling(old, new)
    moved = transferred(row, by, new.board)
    try:
        sections = profile_sections(array_to_profile(moved))
    except ValueError as error:
        raise ProfileError(
            f"{new_folder}: scaled by {by.current_ratio:.3g} the profile is outside what a profile"
            f" can be: {error}; the boards are too far apart"
        ) from None
    feels = FeelsSoFar(new)
    with SearchView(out) as view:
        found = distance_to_optimum(
            new,
            moved,
            n_candidates=candidates,
            n_jobs=n_threads(jobs),
            on_generation=lambda now: view.show(searched(new, now, feels)),
        )
    write_whole(path, profile_text(sections, called=called, by=by, found=found))
    if as_json:
        print_json(transfer_facts(by, found))
        return
    print_transfer(out, row, moved, by=by, found=found)
    out.print(f"{path} written. Test it: levelgain validate {new_folder} {path}")
    print_cautions(out)
