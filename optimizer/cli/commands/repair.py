"""The command that cuts a damaged study store back to what of it is whole."""

from typing import Annotated

import typer

from optimizer.cli.loading import loading
from optimizer.cli.options import Folder
from optimizer.study.paths import store_path


def repair(
    folder: Folder,
    apply: Annotated[
        bool,
        typer.Option("--apply", help="Drop what is not whole; the damaged store is kept beside."),
    ] = False,
) -> None:
    """Say what of a damaged store is whole, or cut it back to that.

    Without --apply nothing is changed. Afterwards `levelgain resume` simulates again what was
    dropped, and ends with the same results.

    Example: levelgain repair my_board
    """
    with loading():
        from optimizer.execution.store_repair import cut_back, examine

    path = store_path(folder)
    found = examine(path)
    whole = f"{found.n_candidates} candidates and {found.n_reevaluations} re-evaluations are whole"
    if not found.fault:
        typer.echo(f"{path}: nothing is damaged; {whole}.")
        return
    typer.echo(f"{path}: {found.fault}.")
    dropped = (
        f"{found.n_dropped} candidates and {found.n_dropped_reevaluations} re-evaluations that can"
        " be read, and all that can not"
    )
    if not apply:
        typer.echo(f"{whole}. A repair drops {dropped}.")
        typer.echo(f"Nothing is changed yet. To cut it back: levelgain repair {folder} --apply")
        return
    kept = cut_back(path)
    typer.echo(f"{whole}. Dropped: {dropped}. The damaged store is kept as {kept}.")
    typer.echo(f"Go on with: levelgain resume {folder}")
