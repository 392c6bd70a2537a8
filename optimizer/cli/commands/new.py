"""The command that makes a study folder."""

from pathlib import Path

import typer

from optimizer.study.templates import write_example, write_template


def new(*, folder: Path, example: str | None) -> None:
    """Make a new study folder."""
    path = write_template(folder) if example is None else write_example(folder, example)
    typer.echo(f"{path} written. Edit it, then: levelgain check {folder}")
