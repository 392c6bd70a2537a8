"""The command that hands a selected profile over."""

from pathlib import Path
from typing import Annotated

import typer

from optimizer.base.cautions import CAUTIONS
from optimizer.base.errors import AlreadyThereError, UserInputError
from optimizer.cli.loading import loading
from optimizer.cli.options import AsJson, Folder, Force, Which, completing, named


def export_profile(
    folder: Folder,
    which: Which,
    format_name: Annotated[
        str,
        typer.Option(
            "--format",
            metavar="NAME",
            help="toml, json, c, or all.",
            autocompletion=completing("toml", "json", "c", "all"),
        ),
    ] = "all",
    template: Annotated[
        Path | None,
        typer.Option(parser=named, metavar="FILE", help="A Jinja2 template of your own, besides."),
    ] = None,
    to: Annotated[
        Path | None, typer.Option(parser=named, metavar="FOLDER", help="Default: FOLDER/exports.")
    ] = None,
    force: Force = False,
    as_json: AsJson = False,
) -> None:
    """Write a profile with its provenance and cautions.

    A plan for the first rides goes with it. Every file says what `levelgain validate` found of the
    profile, loudly where it found faults or was not run.

    Example: levelgain export my_board balanced --format c
    """
    with loading():
        from optimizer.analysis.candidate import bound_marks, failures_of
        from optimizer.analysis.known_verdict import known_verdict, verdict_facts
        from optimizer.analysis.results import candidate_number
        from optimizer.cli.console import console, print_cautions, print_json
        from optimizer.cli.read_study import read_study
        from optimizer.interface.exports import export
        from optimizer.reports.profile_export import FORMATS

    if format_name not in (*FORMATS, "all"):
        raise UserInputError(
            f"--format: must be one of {', '.join(FORMATS)}, all; got {format_name!r}"
        )
    out = console(as_json=as_json)
    results = read_study(folder, out)
    number = candidate_number(results, which)
    try:
        written = export(
            results,
            number,
            formats=FORMATS if format_name == "all" else (format_name,),
            template=template,
            folder=to,
            force=force,
        )
    except AlreadyThereError as error:
        raise AlreadyThereError(
            error.path, advice="give --force to replace it, or --to another folder"
        ) from None
    verdict = known_verdict(results, number)
    failed, marks = failures_of(results, number), bound_marks(results, number)
    if as_json:
        print_json(
            {
                "number": number,
                "files": [str(path) for path in written],
                "validation": verdict_facts(verdict),
                "failed_constraints": failed,
                "parameters_at_bounds": marks,
                "cautions": CAUTIONS,
            }
        )
        return
    for path in written:
        out.print(f"{path} written.")
    out.print(f"WARNING: {verdict.text}" if verdict.is_loud else verdict.text)
    for line in failed:
        out.print(f"WARNING: this profile FAILS a constraint: {line}. The export says so too.")
    for name in marks:
        out.print(f"Note: {name} sits at an end of its searched range.")
    print_cautions(out)
