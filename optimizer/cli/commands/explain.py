"""The command that says which parameters matter, and what they do around a selected profile."""

from optimizer.base.atomic_files import refuse_existing, write_whole
from optimizer.cli.loading import loading
from optimizer.cli.options import AnyProfile, AsJson, Folder, Force, Jobs, OnDevice
from optimizer.study.paths import FIGURES_FOLDER, RESULTS_FOLDER


def explain(
    folder: Folder,
    which: AnyProfile,
    jobs: Jobs = None,
    device: OnDevice = None,
    force: Force = False,
    as_json: AsJson = False,
) -> None:
    """Say which parameters matter and how.

    Each parameter of the profile is moved by itself, and all rides are simulated again. Where much
    of the front lies at an end of a searched range, it is ridden beyond that end too. A figure and
    tables go to FOLDER/results/figures. It takes a minute or more.

    Example: levelgain explain my_board balanced
    """
    with loading():
        from optimizer.analysis.profile_source import profile_to_explain
        from optimizer.analysis.tables import csv_text
        from optimizer.cli.console import console, print_json
        from optimizer.cli.output.explain import explanation_facts, print_explanation
        from optimizer.cli.stages_view import StagesView
        from optimizer.interface import figures
        from optimizer.interface.explanation import explain as explain_profile
        from optimizer.interface.studies import load_study
        from optimizer.reports.style import save

    place = folder / RESULTS_FOLDER / FIGURES_FOLDER
    out = console(as_json=as_json)
    with StagesView(out) as stages:
        stages.begin("reading the study")
        results, selected, stem = profile_to_explain(load_study(folder), which)
        stem = f"sensitivity_{stem}"
        if not isinstance(selected, int) and not force and not as_json:
            # A candidate stays what it is; another profile may have changed since.
            refuse_existing([place / f"{stem}.csv"], advice="give --force to replace it")
        found = explain_profile(
            results, selected, called=which, jobs=jobs, device=device, on_progress=stages.show
        )
    if as_json:
        print_json(explanation_facts(found))
        return
    print_explanation(out, found)
    with StagesView(out) as stages:
        stages.begin("drawing")
        written = save(figures.explanation(found), place / stem)[:1]
    tables = {f"{stem}.csv": found.around}
    if found.shares:
        tables["importance.csv"] = found.importance
    for name, table in tables.items():
        write_whole(place / name, csv_text(table))
        written.append(place / name)
    for path in written:
        out.print(f"{path} written.")
