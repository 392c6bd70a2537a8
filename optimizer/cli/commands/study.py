"""Commands that make a study, start one from another, and write a study's results again."""

from pathlib import Path
from typing import Annotated

import typer

from optimizer.base.errors import ArgumentError, UserInputError
from optimizer.cli.loading import loading
from optimizer.cli.options import Folder, NewFolder, named
from optimizer.study.limits import MOST_CANDIDATES


def new(
    folder: Annotated[
        Path,
        typer.Argument(parser=named, metavar="FOLDER", help="Folder to make.", show_default=False),
    ],
    example: Annotated[
        str | None, typer.Option(metavar="NAME", help="Copy a packaged example, such as hill_town.")
    ] = None,
    motor_kv: Annotated[
        float | None, typer.Option(metavar="KV", help="Kv of your motor in rpm/V.")
    ] = None,
    cells: Annotated[
        int | None, typer.Option(metavar="N", help="Cells in series of your pack.")
    ] = None,
    wheel: Annotated[
        float | None, typer.Option(metavar="M", help="Diameter of your wheel in m, such as 0.28.")
    ] = None,
    riders: Annotated[
        str | None,
        typer.Option(metavar="KG,KG", help="Masses of your riders in kg, such as 62,80."),
    ] = None,
) -> None:
    """Make a new study folder.

    It holds a commented study.toml to edit. What you say of your board goes into it, with limits
    and losses in proportion; without that it is the catalogue's board. Then come `levelgain check`
    and `levelgain run`.

    Example: levelgain new my_board --motor-kv 16.2 --cells 16 --riders 62,80
    """
    with loading():
        from optimizer.study.own_board import NOTHING_SAID, OwnBoard
        from optimizer.study.templates import write_example, write_template

    own = OwnBoard(
        kv_rpm_per_v=motor_kv,
        cells_in_series=cells,
        wheel_diameter_m=wheel,
        rider_masses_kg=_masses(riders),
    )
    if example is not None and own != NOTHING_SAID:
        raise UserInputError("new: --example copies a whole study; leave the other options out")
    # Not `levelgain.new_study`: that loads the kernel, and reads a study that is there already.
    path = write_template(folder, own) if example is None else write_example(folder, example)
    assumed = own != NOTHING_SAID
    said = " Replace what is marked 'assumed' in it by what you know." if assumed else " Edit it."
    typer.echo(f"{path} written.{said}")
    typer.echo(f"Next: levelgain check {folder}")


def _masses(riders: str | None) -> tuple[float, ...]:
    """Return the masses of a list as it is typed."""
    try:
        return tuple(float(mass) for mass in riders.split(",")) if riders is not None else ()
    except ValueError:
        raise ArgumentError(
            "riders", f"must be masses in kg with commas between, got {riders!r}; such as 62,80"
        ) from None


def fork_study(
    folder: Folder,
    new_folder: NewFolder,
    profiles: Annotated[
        int | None,
        typer.Option(
            min=1,
            max=MOST_CANDIDATES,
            metavar="N",
            help="Take only the N best of the front; default: all.",
        ),
    ] = None,
    falls: Annotated[
        list[Path] | None,
        typer.Option(
            parser=named,
            metavar="FILE",
            help="Add the rides of a validation's NAME_falls.toml; may be repeated.",
        ),
    ] = None,
) -> None:
    """Start a new study from another's candidates.

    Change its study.toml, then run it. Rides that stay the same are not simulated again. With
    another board or seed none stays the same: then take only the best, with --profiles 24.

    A study.toml that was changed after its run goes along as it is now.

    Example: levelgain fork my_board my_other_riders
    """
    with loading():
        from optimizer.analysis.results import read_results
        from optimizer.cli.console import console
        from optimizer.cli.stages_view import StagesView
        from optimizer.execution.study_changes import as_started
        from optimizer.interface.studies import fork, load_study
        from optimizer.study.paths import STUDY_FILE

    out = console()
    with StagesView(out) as stages:
        stages.begin("reading the study")
        study = load_study(folder)
        started = as_started(study)
        results = read_results(study if started is None else started)
    text = None if started is None else study.text
    new = fork(results, new_folder, profiles=profiles, text=text, falls=falls or ())
    change = (
        "Change riders, courses, bounds or constraints in it, then:"
        if started is None
        else f"It is changed as {folder / STUDY_FILE} is. Next:"
    )
    out.print(
        f"{new_folder / STUDY_FILE} written, with {len(new.start)} profiles to start from and"
        f" their rides. {change} levelgain run {new_folder}"
    )


def report(folder: Folder) -> None:
    """Write the tables and figures of a study again.

    Weights are those that study.toml has now. Nothing is simulated again.

    Example: levelgain report my_board
    """
    with loading():
        from optimizer.cli.console import console
        from optimizer.cli.output.study import print_written, write_results
        from optimizer.cli.read_study import read_study

    out = console()
    print_written(out, write_results(out, read_study(folder, out)))
