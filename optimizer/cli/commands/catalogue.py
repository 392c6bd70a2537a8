"""The commands that show the catalogue and the studies, and help to edit a study file."""

from pathlib import Path
from typing import Annotated

import typer

from optimizer.base.errors import UserInputError
from optimizer.cli.loading import loading
from optimizer.cli.options import AsJson, Folder, Force, named


def catalogue(
    kind: Annotated[
        str | None,
        typer.Argument(
            metavar="KIND", help="Such as motors or riders; default: all.", show_default=False
        ),
    ] = None,
    name: Annotated[
        str | None,
        typer.Argument(metavar="NAME", help="Of an entry, such as hub_15.", show_default=False),
    ] = None,
    as_json: AsJson = False,
) -> None:
    """List what a study file can name, or show an entry.

    Boards and their parts, riders, skills, ways to balance, surfaces, courses and profiles. An
    entry is shown with the range and the source of each number.

    Example: levelgain catalogue motors hub_15
    """
    with loading():
        from optimizer.cli.console import console, print_json
        from optimizer.cli.output.catalogue import (
            entry_facts,
            kind_facts,
            kinds_facts,
            print_entry,
            print_rows,
        )

    out = console(as_json=as_json)
    if kind is not None and name is not None:
        facts = entry_facts(kind, name)
        if as_json:
            print_json(facts)
        else:
            print_entry(out, facts)
        return
    rows = kinds_facts() if kind is None else kind_facts(kind)
    if as_json:
        print_json(rows)
        return
    print_rows(out, rows)
    more = "motors" if kind is None else f"{kind} {rows[0]['name']}"
    out.print(f"Next: levelgain catalogue {more}")


def list_studies(
    folder: Annotated[
        Path, typer.Argument(parser=named, metavar="FOLDER", help="Where to look; default: here.")
    ] = Path(),
    as_json: AsJson = False,
) -> None:
    """List the studies in a folder and how far they are.

    Example: levelgain list
    """
    with loading():
        from optimizer.cli.console import console, print_json
        from optimizer.cli.output.catalogue import print_rows, studies_facts

    out = console(as_json=as_json)
    rows = studies_facts(folder)
    if as_json:
        print_json(rows)
    elif rows:
        print_rows(out, rows)
    else:
        out.print(f"{folder}: no study here. Make one with: levelgain new my_board")


def schema(folder: Folder, force: Force = False) -> None:
    """Write a JSON schema of study.toml for editors.

    An editor that knows such schemas completes keys, and shows meanings and ranges.

    Example: levelgain schema my_board
    """
    with loading():
        from optimizer.base.atomic_files import refuse_existing, write_whole
        from optimizer.base.json_io import json_text
        from optimizer.study.json_schema import study_json_schema
        from optimizer.study.paths import SCHEMA_FILE, STUDY_FILE

    if not folder.is_dir():
        raise UserInputError(f"{folder}: no such folder; make a study with: levelgain new {folder}")
    path = folder / SCHEMA_FILE
    if not force:
        refuse_existing([path], advice="give --force to replace it")
    write_whole(path, json_text(study_json_schema()))
    typer.echo(
        f"{path} written. An editor finds it by this first line of {folder / STUDY_FILE}:"
        f"\n#:schema {SCHEMA_FILE}"
    )
