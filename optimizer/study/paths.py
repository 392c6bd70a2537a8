"""Names of the files and folders of a study and of a ride log, and where they lie."""

from pathlib import Path

STUDY_FILE = "study.toml"
SCHEMA_FILE = "study.schema.json"  # for editors
BEFORE_FILE = "study_before.toml"  # as it was before a ride log changed it
START_FILE = "start.csv"  # profiles to start from
RIDDEN_FILE = "ridden.npz"  # rides that a fork takes over
ROUTE_FILE = "ridden_route.csv"  # the way of a ride log
STORE_NAME = "store.sqlite"
RESULTS_FOLDER = "results"
KEPT_FACTS = "kept_facts.json"  # inside the folder of results
FIGURES_FOLDER = "figures"  # inside the folder of results
PAGE_NAME = "page.html"  # inside the folder of results
EXPORTS_FOLDER = "exports"
COMPARISON_FOLDER = "comparison"
VALIDATION_FOLDER = "validation"
SEEDS_FOLDER = "seeds"  # holds a study for each seed
FIT_FILE = "fit.json"  # what was fitted to a ride log


def store_path(folder: Path) -> Path:
    """Return where the candidates of the study in a folder are stored."""
    return folder / STORE_NAME


def mapping_beside(log: Path) -> Path:
    """Return where the mapping of a ride log stands: .mapping.toml in place of its suffix."""
    return log.with_name(f"{log.stem}.mapping.toml")


def fit_folder(log: Path) -> Path:
    """Return where the fits of a ride log are kept unless another folder is named."""
    return log.with_name(f"{log.stem}.fit")
