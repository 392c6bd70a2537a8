"""The command that hands a chosen profile over."""

from pathlib import Path

import typer

from optimizer.analysis.candidate import bound_marks, failures_of
from optimizer.analysis.results import candidate_number
from optimizer.base.cautions import CAUTIONS
from optimizer.base.errors import UserInputError
from optimizer.base.json_io import json_text
from optimizer.cli.console import console, print_cautions
from optimizer.cli.read_study import read_study
from optimizer.reports.profile_export import FORMATS, export
from optimizer.study.paths import EXPORTS_FOLDER


def export_profile(
    *,
    folder: Path,
    which: str,
    format_name: str,
    template: Path | None,
    to: Path | None,
    force: bool,
    as_json: bool,
) -> None:
    """Write a chosen profile with its provenance and cautions."""
    if format_name not in (*FORMATS, "all"):
        raise UserInputError(
            f"--format: must be one of {', '.join(FORMATS)}, all; got {format_name!r}"
        )
    out = console(as_json=as_json)
    results = read_study(folder, out)
    number = candidate_number(results, which)
    written = export(
        results,
        number,
        formats=FORMATS if format_name == "all" else (format_name,),
        template=template,
        folder=folder / EXPORTS_FOLDER if to is None else to,
        force=force,
    )
    failed, marks = failures_of(results, number), bound_marks(results, number)
    if as_json:
        told = {
            "number": number,
            "files": [str(path) for path in written],
            "failed_constraints": failed,
            "parameters_at_bounds": marks,
            "cautions": CAUTIONS,
        }
        typer.echo(json_text(told), nl=False)
        return
    for path in written:
        out.print(f"{path} written.")
    for line in failed:
        out.print(f"WARNING: this profile FAILS a constraint: {line}. The export says so too.")
    for name in marks:
        out.print(f"Note: {name} sits at an end of its searched range.")
    print_cautions(out)
