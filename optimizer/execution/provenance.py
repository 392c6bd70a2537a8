"""Where results come from: the inputs of a study's rides and the versions that made them."""

import functools
import json
from collections.abc import Mapping
from pathlib import Path

import objectives
import plant
from optimizer import riding_day
from optimizer.base.errors import StoreError
from optimizer.base.hashing import digest
from optimizer.base.source_digest import bytes_digest, source_digest
from optimizer.base.versions import RIDING, library_versions
from optimizer.execution.baseline_handling import baseline_inputs
from optimizer.execution.kept_texts import keep_text, kept_text
from optimizer.execution.study_changes import refuse_changed
from optimizer.study.study import Study

MODEL = "model.digest"
_KIND = "model_digest"
_DIGITS = 64  # of a SHA-256
HARD_RIDES = "hard_rides"  # under this name a store keeps which they are


@functools.cache
def model_digest() -> str:
    """Return the SHA-256 over what the sources of plant, objectives and riding day do.

    Two versions of the model give two results for one profile, so a study does not go on with
    another model than it was started with. Its hard rides are drawn anew each time from their
    numbers, so what draws them belongs to the model. What only explains the model does not stop a
    study; see `optimizer.base.source_digest`.
    """
    packages = [Path(package.__path__[0]) for package in (plant, objectives, riding_day)]
    written = bytes_digest(packages)
    kept = kept_text(_KIND, written)
    if kept is not None:
        found = str(json.loads(kept))[:_DIGITS]
        if kept == _as_kept(found, written):
            return found
    found = source_digest(packages)
    keep_text(_KIND, written, _as_kept(found, written))
    return found


def _as_kept(found: str, written: str) -> str:
    """Return a digest of the model as it is kept: with a checksum over it and its sources."""
    return json.dumps(found + digest([found, written]))


def ride_inputs(study: Study) -> dict[str, str]:
    """Return what decides the outcome of a study's rides, as texts that a store can freeze."""
    hard = {} if study.hard is None else {HARD_RIDES: study.hard.text}
    return {
        "study.digest": study.digest,
        **baseline_inputs(study),
        **hard,
        **model_inputs(),
    }


def model_inputs() -> dict[str, str]:
    """Return what decides the outcome of any ride: the model and the versions that run it."""
    return {MODEL: model_digest(), **library_versions(RIDING)}


def refuse_other_study(path: Path, frozen: Mapping[str, str], study: Study) -> None:
    """Refuse a store whose candidates were ridden for another content of the study file.

    Raises
    ------
    UserInputError
        The study file, or the catalogue's entries it names, have changed since, or what a version
        of this program makes of them.
    """
    digest = study.digest
    if frozen.get("study.digest", digest) != digest and frozen.get(MODEL) != model_digest():
        raise StoreError(
            f"{path}: another version of this program wrote it, for which the study file said"
            " something else; go on with that version, or start a new study folder"
        )
    if frozen.get("study.digest", digest) != digest:
        refuse_changed(path, frozen, study)
