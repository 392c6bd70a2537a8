"""The commands that turn a ride log into a plant: `levelgain log ...`."""

import json
from pathlib import Path
from typing import Annotated

import typer

from optimizer.files import refuse_existing, write_whole
from optimizer.printing import console
from optimizer.ridelog.checking import Checked, check_log
from optimizer.ridelog.findings import Weight
from optimizer.ridelog.mapping import load_mapping
from optimizer.ridelog.proposal import propose

log_app = typer.Typer(
    name="log",
    help="Read a log of a real ride: check it, fit the board, compare predicted with measured.",
    no_args_is_help=True,
    rich_markup_mode=None,
)
Log = Annotated[Path, typer.Argument(help="The ride log: CSV or Parquet.", show_default=False)]
MappingFile = Annotated[
    Path | None, typer.Option("--mapping", help="Default: the log's name with .mapping.toml.")
]
AsJson = Annotated[bool, typer.Option("--json", help="Print JSON.")]


def mapping_path(log: Path, mapping: Path | None) -> Path:
    """Return where the mapping of a log stands."""
    return log.with_name(f"{log.stem}.mapping.toml") if mapping is None else mapping


@log_app.command(name="propose")
def propose_mapping(log: Log, mapping: MappingFile = None) -> None:
    """Write a mapping of the log's columns for you to check and confirm.

    Example: levelgain log propose ride.csv
    """
    path = mapping_path(log, mapping)
    refuse_existing([path], advice="edit it, or name another file with --mapping")
    text = propose(log)
    write_whole(path, text)
    out = console()
    out.print(text, markup=False)
    out.print(f"{path} written: check every line, then write confirmed = true in it.", markup=False)


@log_app.command(name="check")
def check_ride_log(log: Log, mapping: MappingFile = None, as_json: AsJson = False) -> None:
    """Read the whole log and say what is wrong with it, and where.

    Example: levelgain log check ride.csv
    """
    checked = check_log(log, load_mapping(mapping_path(log, mapping)))
    if as_json:
        typer.echo(json.dumps(_told(checked), indent=2, ensure_ascii=False))
    else:
        print_checked(checked)


def print_checked(checked: Checked) -> None:
    """Print what a log is and what was found in it."""
    out = console()
    out.print(
        f"{checked.n_rows} rows, {checked.duration_s:.1f} s at {checked.rate_hz:.4g} Hz;"
        f" {len(checked.findings)} finding(s)."
    )
    for finding in checked.findings:
        style = "bold red" if finding.weight is Weight.WARNING else "yellow"
        out.print(f"[{style}]{finding.weight:8s}[/] ", end="")
        out.print(str(finding), markup=False)


def _told(checked: Checked) -> dict[str, object]:
    return {
        "rows": checked.n_rows,
        "duration_s": checked.duration_s,
        "rate_hz": checked.rate_hz,
        "findings": [
            {
                "weight": str(finding.weight),
                "channel": finding.subject,
                "line": finding.line or None,
                "time_s": finding.time_s if finding.time_s == finding.time_s else None,
                "text": finding.text,
            }
            for finding in checked.findings
        ],
    }
