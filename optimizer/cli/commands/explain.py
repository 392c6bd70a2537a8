"""The command that says which parameters matter, and what they do around a selected profile."""

from optimizer.base.atomic_files import write_whole
from optimizer.cli.loading import loading
from optimizer.cli.options import AsJson, Folder, Jobs, Which
from optimizer.study.paths import FIGURES_FOLDER, RESULTS_FOLDER


def explain(folder: Folder, which: Which, jobs: Jobs = None, as_json: AsJson = False) -> None:
    """Say which parameters matter and how.

    Each parameter of the candidate is moved by itself, and the rides are ridden again.
    A figure and tables go to FOLDER/results/figures. It takes a minute or more.

    Example: levelgain explain my_board balanced
    """
    with loading():
        import joblib

        from optimizer.analysis.importance import importances
        from optimizer.analysis.results import candidate_number, read_results
        from optimizer.analysis.sensitivity import sensitivity
        from optimizer.cli.console import console, print_json
        from optimizer.cli.output.explain import (
            around_table,
            bound_advices,
            explanation_facts,
            importance_table,
            print_explanation,
        )
        from optimizer.cli.stages_view import StagesView
        from optimizer.reports.sensitivity_figures import sensitivity_figure
        from optimizer.reports.style import save, styled
        from optimizer.study.load import load_study

    out = console(as_json=as_json)
    with StagesView(out) as stages:
        stages.begin("reading the study")
        results = read_results(load_study(folder))
        number = candidate_number(results, which)
        stages.begin("riding the neighbours")
        found = sensitivity(results, number, n_jobs=jobs or joblib.cpu_count())
        stages.begin("ranking parameters over all candidates")
        shares = importances(results.study.space, results.searched)
    advice = bound_advices(results, number, found)
    if as_json:
        print_json(explanation_facts(number, found, shares=shares, advice=advice))
        return
    print_explanation(out, number, found, shares=shares, advice=advice)
    figures = folder / RESULTS_FOLDER / FIGURES_FOLDER
    with StagesView(out) as stages, styled():
        stages.begin("drawing")
        drawn = sensitivity_figure(found, called=f"candidate {number}")
        written = save(drawn, figures / f"sensitivity_{number}")[:1]
    tables = {
        f"sensitivity_{number}.csv": around_table(found),
        "importance.csv": importance_table(shares),
    }
    for name, table in tables.items():
        write_whole(figures / name, table.to_csv(index=False, lineterminator="\n"))
        written.append(figures / name)
    for path in written:
        out.print(f"{path} written.")
