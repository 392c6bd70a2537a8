"""The command that shows what each section of a profile does."""

import json
import math
from pathlib import Path
from typing import Annotated

import pandas as pd
import typer

from optimizer.demonstrations import Demonstration, Shown, demonstrate, demonstration_names
from optimizer.figures_demonstrations import demonstration_figure
from optimizer.figures_style import save, styled
from optimizer.files import refuse_existing
from optimizer.printing import console, print_cautions, print_table

_STEM = "demonstrations"


def demonstrate_sections(
    to: Annotated[Path, typer.Argument(help="Folder for the page.")] = Path(),
    as_json: Annotated[bool, typer.Option("--json", help="Print JSON, write nothing.")] = False,
    force: Annotated[bool, typer.Option("--force", help="Replace an existing page.")] = False,
) -> None:
    """Draw a page of what each section of a profile does, with and without it.

    Example: levelgain demonstrate figures
    """
    stem = to / _STEM
    if not as_json and not force:
        files = [stem.with_suffix(suffix) for suffix in (".png", ".svg")]
        refuse_existing(files, advice="give --force to replace it, or name another folder")
    shown = [demonstrate(name) for name in demonstration_names()]
    if as_json:
        typer.echo(json.dumps([_told(pair) for pair in shown], indent=2))
        return
    out = console()
    print_table(out, pd.DataFrame([_told(pair) for pair in shown]).drop(columns="shows"))
    with styled():
        written = save(demonstration_figure(shown), stem)
    out.print(f"\n{' and '.join(str(path) for path in written)} written.")
    print_cautions(out)


def _told(pair: Demonstration) -> dict[str, str | float | None]:
    def number(side: Shown) -> float | None:
        return None if math.isnan(side.value) else side.value

    return {
        "section": pair.section,
        "name": pair.name,
        "shows": pair.shows,
        "measured": pair.measured,
        "with": number(pair.with_it),
        "without": number(pair.without_it),
        "with_ended": pair.with_it.trace.outcome.message,
        "without_ended": pair.without_it.trace.outcome.message,
    }
