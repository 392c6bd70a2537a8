"""The commands that run a study, go on with one, or extend it."""

from typing import Annotated

import typer

from optimizer.cli.loading import loading
from optimizer.cli.options import AsJson, Folder, Jobs, OnDevice

Candidates = Annotated[
    int | None,
    typer.Option(min=1, metavar="N", help="Candidates in all; default: study.toml's."),
]
Database = Annotated[
    str | None,
    typer.Option(
        metavar="ADDRESS",
        help="postgresql:// address at which machines share the study; default: study.toml's.",
    ),
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
        help="Use the database that study.toml names without asking.",
    ),
]


def run(
    folder: Folder,
    candidates: Candidates = None,
    jobs: Jobs = None,
    database: Database = None,
    trust_database: TrustDatabase = False,
    cluster: Cluster = None,
    device: OnDevice = None,
    as_json: AsJson = False,
) -> None:
    """Simulate candidates and search the trade-off.

    A folder that does not exist and has the name of a packaged example is made from it. Tables
    and figures go to FOLDER/results. Ctrl-C stops after the generation that is being
    ridden; `levelgain resume` goes on.

    Example: levelgain run my_board --candidates 6000
    """
    with loading():
        from optimizer.cli.database_question import agreed_database
        from optimizer.cli.search_session import search
        from optimizer.execution.devices import refuse_missing
        from optimizer.execution.run import refuse_started
        from optimizer.interface.studies import load_study, new_study
        from optimizer.study.catalogue import STUDIES_FOLDER
        from optimizer.study.paths import STUDY_FILE

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
        jobs=jobs,
        database=agreed_database(study, database, trusted=trust_database),
        cluster=cluster,
        device=device,
        as_json=as_json,
    )


def resume(
    folder: Folder,
    candidates: Candidates = None,
    jobs: Jobs = None,
    database: Database = None,
    trust_database: TrustDatabase = False,
    cluster: Cluster = None,
    device: OnDevice = None,
    as_json: AsJson = False,
) -> None:
    """Go on with a study that was stopped, or extend one.

    It goes on to the number of candidates that the run was asked for.

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
    search(
        study,
        candidates=asked_before(study) if candidates is None else candidates,
        jobs=jobs,
        database=agreed_database(study, database, trusted=trust_database),
        cluster=cluster,
        device=device,
        as_json=as_json,
    )
