"""The command that says what to change first of a profile that is ridden today."""

from pathlib import Path
from typing import Annotated

import typer

from optimizer.base.atomic_files import refuse_existing, write_whole
from optimizer.base.errors import UserInputError
from optimizer.cli.loading import loading
from optimizer.cli.options import AnyProfile, AsJson, Folder, Jobs, OnDevice, named


def advise(
    folder: Folder,
    profile: AnyProfile,
    changes: Annotated[
        int, typer.Option(min=1, max=3, metavar="N", help="Most changes at once.")
    ] = 3,
    out: Annotated[
        Path | None,
        typer.Option(parser=named, metavar="FILE", help="Write the changed profile, .toml."),
    ] = None,
    jobs: Jobs = None,
    device: OnDevice = None,
    as_json: AsJson = False,
) -> None:
    """Say what to change first of a profile.

    Its best one, two and three changes are looked for and ridden again, on the study's rides. Each
    says what it buys and costs, and whether that is more than noise. No search is needed. It takes
    one to three minutes on two cores.

    Example: levelgain advise my_board mine.toml --out better.toml
    """
    if out is not None:
        if out.suffix != ".toml":
            raise UserInputError(f"--out: must name a file that ends in .toml, got {out}")
        refuse_existing([out], advice="name another file")
    with loading():
        from optimizer.analysis.profile_source import named_profile
        from optimizer.base.cautions import CAUTIONS
        from optimizer.cli.console import console, print_cautions, print_json
        from optimizer.cli.output.advise import advice_facts, print_advice, profile_text
        from optimizer.cli.stages_view import StagesView
        from optimizer.execution.devices import on_device
        from optimizer.interface.advice import advise as advise_on_profile
        from optimizer.interface.studies import load_study
        from plant.description.profile_array import array_to_profile

    shown = console(as_json=as_json)
    with StagesView(shown) as stages:
        stages.begin("reading the study")
        study = on_device(load_study(folder), device)
        row, source = named_profile(study, profile)
        found = advise_on_profile(
            study,
            array_to_profile(row),
            called=source if isinstance(source, str) else profile,
            changes=changes,
            jobs=jobs,
            on_progress=stages.show,
        )
    written = out if found.kept else None
    if written is not None:
        write_whole(written, profile_text(found))
    if as_json:
        print_json(
            advice_facts(found)
            | {"file": written and str(written), "cautions": CAUTIONS if written else []}
        )
        return
    print_advice(shown, found)
    if written is not None:
        shown.print(f"\n{written} written. Test it: levelgain validate {folder} {written}")
        print_cautions(shown)
    elif out is not None:
        shown.print(f"\n{out} is not written: there is nothing to change.")
    elif found.kept:
        shown.print("\nWith --out FILE the changed profile is written.")
