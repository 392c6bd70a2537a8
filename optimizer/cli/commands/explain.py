"""The command that says which parameters matter, and what they do around a selected profile."""

from optimizer.base.atomic_files import write_whole
from optimizer.cli.loading import loading
from optimizer.cli.options import AsJson, Folder, Jobs, OnDevice, Which
from optimizer.study.paths import FIGURES_FOLDER, RESULTS_FOLDER


def explain(
    folder: Folder,
    which: Which,
    jobs: Jobs = None,
    device: OnDevice = None,
    as_json: AsJson = False,
) -> None:
    """Say which parameters matter and how.

    Each parameter of the candidate is moved by itself, and all rides are simulated again. Where
    much of the front lies at an end of a searched range, it is ridden beyond that end too. A figure
    and tables go to FOLDER/results/figures. It takes a minute or more.

    Example: levelgain explain my_board balanced
    """
    with loading():
        from optimizer.analysis.results import read_results
        from optimizer.analysis.tables import csv_text
        from optimizer.cli.console import console, print_json
        from optimizer.cli.output.explain import explanation_facts, print_explanation
        from optimizer.cli.stages_view import StagesView
        from optimizer.interface import figures
        from optimizer.interface.explanation import explain as explain_candidate
        from optimizer.interface.studies import load_study
        from optimizer.reports.style import save

    out = console(as_json=as_json)
    with StagesView(out) as stages:
        stages.begin("reading the study")
        results = read_results(load_study(folder))
        found = explain_candidate(results, which, jobs=jobs, device=device, on_progress=stages.show)
    if as_json:
        print_json(explanation_facts(found))
        return
    print_explanation(out, found)
    place = folder / RESULTS_FOLDER / FIGURES_FOLDER
    stem = f"sensitivity_{found.number}"
    with StagesView(out) as stages:
        stages.begin("drawing")
        written = save(figures.explanation(found), place / stem)[:1]
    for name, table in ((f"{stem}.csv", found.around), ("importance.csv", found.importance)):
        write_whole(place / name, csv_text(table))
        written.append(place / name)
    for path in written:
        out.print(f"{path} written.")
