"""The command that shows what each section of a profile does."""

from pathlib import Path
from typing import Annotated

import typer

from optimizer.base.atomic_files import refuse_existing
from optimizer.cli.loading import loading
from optimizer.cli.options import AsJsonAlone, Force, named

_STEM = "demonstrations"


def demonstrate_sections(
    to: Annotated[
        Path,
        typer.Argument(
            parser=named,
            metavar="NEW_FOLDER",
            help="Folder for the page; default: the current one.",
            show_default=False,
        ),
    ] = Path(),
    as_json: AsJsonAlone = False,
    force: Force = False,
) -> None:
    """Draw what each section of a profile does.

    One page of rides with and without it, demonstrations.png and .svg.

    Example: levelgain demonstrate figures
    """
    stem = to / _STEM
    if not as_json and not force:
        files = [stem.with_suffix(suffix) for suffix in (".png", ".svg")]
        refuse_existing(files, advice="give --force to replace it, or name another folder")
    with loading():
        import pandas as pd

        from optimizer.analysis.demonstration_catalogue import catalogue_demonstrations
        from optimizer.analysis.demonstrations import ridden
        from optimizer.cli.console import console, print_cautions, print_json, print_table
        from optimizer.cli.stages_view import StagesView
        from optimizer.reports.demonstration_figures import demonstrations_figure
        from optimizer.reports.style import save, styled

    out = console(as_json=as_json)
    with StagesView(out) as stages:
        demonstrations = catalogue_demonstrations()
        stages.begin("riding with and without", len(demonstrations))
        pairs = []
        for demonstration in demonstrations:
            pairs.append((demonstration, ridden(demonstration)))
            stages.advance()
    rows = [
        {
            "section": shown.section,
            "name": shown.name,
            "expected": shown.expected,
            "ride": variant,
            "measured": shown.measure.called,
            "value": ride.measured,
            "unit": shown.measure.unit,
            "ended": ride.signals.outcome.message,
        }
        for shown, pair in pairs
        for variant, ride in pair.items()
    ]
    if as_json:
        print_json(rows)
        return
    print_table(out, pd.DataFrame(rows).drop(columns="expected"))
    with StagesView(out) as stages, styled():
        stages.begin("drawing")
        written = save(demonstrations_figure(pairs), stem)
    out.print(f"\n{' and '.join(str(path) for path in written)} written.")
    print_cautions(out)
