"""Choose the balance-controller profile of a self-balancing single-wheel board, from Python.

Installed as `levelgain`; the section "In a notebook" of the README shows it in ten lines. Units
end the names of columns. A fault in what the user gives raises a `UserInputError` of one line, in a
class for each cause.

These boards throw people: a simulation is not a ride test. See the README's cautions.
"""

from optimizer.analysis.advice.advice import Advice
from optimizer.analysis.comparison import Comparison
from optimizer.analysis.explanation import Explanation
from optimizer.analysis.optuna_study import to_optuna
from optimizer.analysis.results import Results, read_results
from optimizer.analysis.seed_spread import SeedSpread
from optimizer.analysis.tables import candidates_table as candidates
from optimizer.analysis.tables import front_table as front
from optimizer.analysis.tables import write_tables
from optimizer.base.errors import (
    AlreadyStartedError,
    AlreadyThereError,
    CandidateError,
    FileError,
    LogError,
    MachineError,
    NotStartedError,
    ProfileError,
    RideError,
    StoreError,
    StudyFileError,
    UserInputError,
)
from optimizer.interface import figures
from optimizer.interface.advice import advise
from optimizer.interface.candidates import candidate
from optimizer.interface.explanation import explain
from optimizer.interface.exports import export
from optimizer.interface.logs import LoggedRide, fit_log, fits_table, read_log, study_from_log
from optimizer.interface.profiles import (
    load_profile,
    profile,
    validate,
    validate_several,
)
from optimizer.interface.progress import Progress
from optimizer.interface.rides import compare, ride, score, traces
from optimizer.interface.seeds import repeat
from optimizer.interface.studies import fork, load_study, new_study, run
from optimizer.reports.figures import write_figures
from optimizer.search.optuna_sampler import GenerationSampler
from optimizer.study.study import Study
from plant.description.profile import Profile

__all__ = [
    "Advice",
    "AlreadyStartedError",
    "AlreadyThereError",
    "CandidateError",
    "Comparison",
    "Explanation",
    "FileError",
    "GenerationSampler",
    "LogError",
    "LoggedRide",
    "MachineError",
    "NotStartedError",
    "Profile",
    "ProfileError",
    "Progress",
    "Results",
    "RideError",
    "SeedSpread",
    "StoreError",
    "Study",
    "StudyFileError",
    "UserInputError",
    "advise",
    "candidate",
    "candidates",
    "compare",
    "explain",
    "export",
    "figures",
    "fit_log",
    "fits_table",
    "fork",
    "front",
    "load_profile",
    "load_study",
    "new_study",
    "profile",
    "read_log",
    "read_results",
    "repeat",
    "ride",
    "run",
    "score",
    "study_from_log",
    "to_optuna",
    "traces",
    "validate",
    "validate_several",
    "write_figures",
    "write_tables",
]
