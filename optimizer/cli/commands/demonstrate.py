"""The command that shows what each section of a profile does."""

from pathlib import Path

import pandas as pd
import typer

from optimizer.analysis.demonstration_catalogue import catalogue_demonstrations
from optimizer.analysis.demonstrations import Demonstration, Ridden, ridden
from optimizer.base.atomic_files import refuse_existing
from optimizer.base.json_io import json_text
from optimizer.cli.console import console, print_cautions, print_table
from optimizer.cli.stages_view import StagesView
from optimizer.reports.demonstration_figures import demonstrations_figure
from optimizer.reports.style import save, styled

_STEM = "demonstrations"


def demonstrate_sections(
    *,
    to: Path,
    as_json: bool,
    force: bool,
) -> None:
    """Draw a page of what each section of a profile does, with and without it."""
    stem = to / _STEM
    if not as_json and not force:
        files = [stem.with_suffix(suffix) for suffix in (".png", ".svg")]
        refuse_existing(files, advice="give --force to replace it, or name another folder")
    out = console(as_json=as_json)
    with StagesView(out) as stages:
        all_shown = catalogue_demonstrations()
        stages.begin("riding with and without", len(all_shown))
        rides = []
        for shown in all_shown:
            rides.append((shown, ridden(shown)))
            stages.advance()
    rows = [_told(shown, name, ride) for shown, pair in rides for name, ride in pair.items()]
    if as_json:
        typer.echo(json_text(rows), nl=False)
        return
    print_table(out, pd.DataFrame(rows).drop(columns="expected"))
    with StagesView(out) as stages, styled():
        stages.begin("drawing")
        written = save(demonstrations_figure(rides), stem)
    out.print(f"\n{' and '.join(str(path) for path in written)} written.")
    print_cautions(out)


def _told(shown: Demonstration, variant: str, ride: Ridden) -> dict[str, str | float]:
    return {
        "section": shown.section,
        "name": shown.name,
        "expected": shown.expected,
        "ride": variant,
        "measured": shown.measure.called,
        "value": ride.measured,
        "unit": shown.measure.unit,
        "ended": ride.signals.outcome.message,
    }
