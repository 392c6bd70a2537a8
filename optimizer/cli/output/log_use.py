"""What a ride log has moved in a study."""

import pandas as pd
from rich.console import Console

from optimizer.cli.console import print_table
from optimizer.execution.study_changes import changed_values
from optimizer.study.paths import BEFORE_FILE, STUDY_FILE
from optimizer.study.study import Study


def print_moved(out: Console, before: Study, now: Study) -> None:
    """Print what a log has moved in a study, key by key, and where the study is."""
    moved = changed_values(before, now)
    if not moved and now.folder == before.folder:
        out.print(f"Nothing moves: {now.folder / STUDY_FILE} has what the log says already.")
        return
    print_table(out, pd.DataFrame(moved, columns=["moved", "was", "now"]))
    if now.folder == before.folder:
        out.print(
            f"{now.folder / STUDY_FILE} written anew, without its comments; as it was it stays in"
            f" {now.folder / BEFORE_FILE}."
        )
    else:
        out.print(
            f"{now.folder / STUDY_FILE} written, with {len(now.start)} profiles of {before.folder}"
            " to start from."
        )
