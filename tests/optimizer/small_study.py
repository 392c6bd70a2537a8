"""A study small enough for tests: an invented pair of riders on three short courses."""

from collections.abc import Callable
from pathlib import Path

from optimizer.execution.run import run_study
from optimizer.study.load import load_study
from optimizer.study.study import Study

SMALL_STUDY = """
title = "Two borrowers on three short courses"
seed = 11

[board]
use = "lender_15"

[riders]
use = ["pupil_40", "baker_80"]

[courses]
use = ["stand_still", "kerb_up", "cobbles"]

[baseline]
use = "workshop_15"

[search]
candidates = 36
population = 12
hard_rides = 6
hard_rides_h = 2.0

[constraints]
least_warning_s = 0.5
"""

# Changes by which many candidates end rides early, and some of them are rejected for that.
STEEP = (
    ('"pupil_40", "baker_80"', '"smith_105", "baker_80"'),
    (
        '"stand_still", "kerb_up", "cobbles"',
        '"stand_still", "accelerate_hard", "steep_down", "steep_up"',
    ),
    (
        "\n[baseline]",
        "\n[courses.steep_up]\nroad.grade_percent = [[0.0, 0.0], [6.0, 25.0]]\n\n[baseline]",
    ),
)
# A validation rides a thousand rides of the day or more, however few hours are asked.
SHORT_RIDES = ("[constraints]", "[riding_day]\nride_s = 10.0\n\n[constraints]")


def write_small_study(folder: Path, *changes: tuple[str, str]) -> Path:
    """Write the study file into a folder, with some texts in it replaced, and return the folder."""
    text = SMALL_STUDY
    for old, new in changes:
        assert old in text
        text = text.replace(old, new)
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "study.toml").write_text(text)
    return folder


def searched(
    folder: Path,
    n_candidates: int,
    *,
    n_jobs: int = 2,
    stop: Callable[[], bool] = lambda: False,
    notices: list[str] | None = None,
) -> Study:
    """Search a study until it holds so many candidates; `notices` gets what a user reads."""
    study = load_study(folder)

    def told(text: str) -> None:
        # Hard rides are looked for, and told, once in a process.
        looked_for = text.startswith("Looking for hard rides") or " hard rides over " in text
        if notices is not None and not looked_for:
            notices.append(text)

    run_study(
        study,
        n_candidates=n_candidates,
        n_jobs=n_jobs,
        on_generation=lambda _: None,
        stop=stop,
        notice=told,
    )
    return study
