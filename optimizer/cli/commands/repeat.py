"""The command that runs a study under several seeds."""

from typing import Annotated

import typer

from optimizer.cli.loading import loading
from optimizer.cli.options import AsJson, Folder, Jobs, OnDevice
from optimizer.study.limits import FEWEST_SEEDS, MOST_SEEDS


def repeat(
    folder: Folder,
    seeds: Annotated[
        int,
        typer.Option(
            min=FEWEST_SEEDS, max=MOST_SEEDS, metavar="N", help="Number of seeds; each is a run."
        ),
    ] = 3,
    candidates: Annotated[
        int | None,
        typer.Option(min=1, metavar="N", help="Candidates of each; default: study.toml's."),
    ] = None,
    jobs: Jobs = None,
    device: OnDevice = None,
    as_json: AsJson = False,
) -> None:
    """Run a study under several seeds; say how far they differ.

    It takes as long as so many runs; the study's own counts, once it is finished with as many
    candidates. Each seed is a study in FOLDER/seeds. It says how far picks and fronts differ, and
    which parameters the search determines or leaves free. After Ctrl-C the same command goes on.

    Example: levelgain repeat my_board --seeds 3
    """
    with loading():
        from optimizer.analysis.seed_spread import seed_spread, write_spread
        from optimizer.analysis.seed_studies import seed_studies
        from optimizer.cli.console import console, print_json
        from optimizer.cli.output.repeat import print_spread, spread_facts
        from optimizer.cli.search_session import run_seed
        from optimizer.execution.devices import refuse_missing
        from optimizer.interface.studies import load_study
        from optimizer.study.paths import SEEDS_FOLDER

    refuse_missing(device)
    out = console(as_json=as_json)
    study = load_study(folder)
    studies = seed_studies(study, n_seeds=seeds, n_candidates=candidates)
    spread = seed_spread([run_seed(each, out, jobs=jobs, device=device) for each in studies])
    written = write_spread(spread, folder / SEEDS_FOLDER)
    if as_json:
        print_json(spread_facts(spread, written))
    else:
        print_spread(out, spread)
        out.print(f"\n{len(written)} tables in {written[0].parent}.")
