"""A candidate's profile, handed over as files."""

from collections.abc import Sequence
from pathlib import Path

from optimizer.analysis.results import Results, candidate_number
from optimizer.interface.file_path import FilePath
from optimizer.reports import profile_export
from optimizer.study.paths import EXPORTS_FOLDER


def export(
    results: Results,
    which: int | str = "balanced",
    *,
    folder: FilePath | None = None,
    formats: Sequence[str] = profile_export.FORMATS,
    template: FilePath | None = None,
    force: bool = False,
) -> list[Path]:
    """Return the files to which a candidate's profile is written, with its provenance.

    A plan of the first rides is among them. Every file is written whole.

    Parameters
    ----------
    results : Results
    which : int or str
        A candidate's number, or the name of a pick.
    folder : path, optional
        The study's own folder of exports if not given.
    formats : sequence of str
        Of "toml", "json" and "c".
    template : path, optional
        A Jinja2 template of the user's own, written besides.
    force : bool
        Whether files that are there are replaced.

    Raises
    ------
    CandidateError
        There is no such candidate or pick.
    FileError
        A file is there already and `force` is not given, or can not be written.
    ValueError
        A format is none of these.
    """
    unknown = sorted(set(formats) - set(profile_export.FORMATS))
    if unknown:
        raise ValueError(
            f"formats must be of {', '.join(profile_export.FORMATS)}, got {', '.join(unknown)}"
        )
    return profile_export.export(
        results,
        candidate_number(results, str(which)),
        formats=tuple(formats),
        template=None if template is None else Path(template),
        folder=results.study.folder / EXPORTS_FOLDER if folder is None else Path(folder),
        force=force,
    )
