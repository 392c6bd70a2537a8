"""The commands that run a study, go on with one, or extend it."""

from typing import Annotated

import typer

from optimizer.cli.loading import loading
from optimizer.cli.options import AsJson, Folder, Jobs, OnDevice

Candidates = Annotated[
    int | None,
    typer.Option(min=1, metavar="N", help="Candidates in all; default: study.toml's."),
]
Minutes = Annotated[
    float | None,
    typer.Option(metavar="M", help="Search for M minutes; the re-evaluation comes after."),
]
UntilGain = Annotated[
    float | None,
    typer.Option(metavar="P", help="End once the last 1,000 candidates gained under P %."),
]
Database = Annotated[
    str | None,
    typer.Option(metavar="ADDRESS", help="postgresql:// where machines share the study."),
]
Cluster = Annotated[
    str | None,
    typer.Option(metavar="ADDRESS", help="tcp:// address of a Dask scheduler whose workers ride."),
]
TrustDatabase = Annotated[
    bool,
    typer.Option(
        "--trust-database",
        envvar="LEVELGAIN_TRUST_DATABASE",
        show_envvar=False,
        help="Use the database that study.toml names without asking.",
    ),
]


def run(
    folder: Folder,
    candidates: Candidates = None,
    minutes: Minutes = None,
    until_gain: UntilGain = None,
    jobs: Jobs = None,
    database: Database = None,
    trust_database: TrustDatabase = False,
    cluster: Cluster = None,
    device: OnDevice = None,
    as_json: AsJson = False,
) -> None:
    """Simulate candidates and search the trade-off.

    A new folder with the name of a packaged example is made from it. Results go to FOLDER/results.
    After Ctrl-C `levelgain resume` goes on. What --minutes or --until-gain end is finished;
    `levelgain resume` can extend it.

    Example: levelgain run my_board --candidates 6000
    """
    with loading():
        from optimizer.cli.database_question import agreed_database
        from optimizer.cli.search_session import search
        from optimizer.execution.devices import refuse_missing
        from optimizer.execution.run import refuse_started
        from optimizer.interface.stopping_rules import refuse_bad_rules
        from optimizer.interface.studies import load_study, new_study
        from optimizer.study.catalogue import STUDIES_FOLDER
        from optimizer.study.paths import STUDY_FILE

    refuse_bad_rules(minutes=minutes, until_gain_percent=until_gain)
    refuse_missing(device)
    packaged = (STUDIES_FOLDER / folder.name / STUDY_FILE).is_file()
    if packaged and not folder.exists():
        study = new_study(folder, example=folder.name)
    else:
        study = load_study(folder)
    refuse_started(study)
    search(
        study,
        candidates=candidates,
        minutes=minutes,
        until_gain_percent=until_gain,
        jobs=jobs,
        database=agreed_database(study, database, trusted=trust_database),
        cluster=cluster,
        device=device,
        as_json=as_json,
    )


def resume(
    folder: Folder,
    candidates: Candidates = None,
    minutes: Minutes = None,
    until_gain: UntilGain = None,
    jobs: Jobs = None,
    database: Database = None,
    trust_database: TrustDatabase = False,
    cluster: Cluster = None,
    device: OnDevice = None,
    as_json: AsJson = False,
) -> None:
    """Go on with a study that was stopped, or extend one.

    Without --candidates it goes on to what the run was asked for: a number of candidates, or a gain
    (--until-gain). A run that is finished goes on to study.toml's number.

    Example: levelgain resume my_board --candidates 12000
    """
    with loading():
        from optimizer.cli.database_question import agreed_database
        from optimizer.cli.search_session import search
        from optimizer.execution.asked_candidates import asked_before
        from optimizer.execution.run import refuse_not_started
        from optimizer.interface.studies import load_study

    study = load_study(folder)
    refuse_not_started(study)
    before = asked_before(study)
    if candidates is None:
        candidates = before.n_candidates
        until_gain = before.until_gain_percent if until_gain is None else until_gain
    search(
        study,
        candidates=candidates,
        minutes=minutes,
        until_gain_percent=until_gain,
        jobs=jobs,
        database=agreed_database(study, database, trusted=trust_database),
        cluster=cluster,
        device=device,
        as_json=as_json,
    )
