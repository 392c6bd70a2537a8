"""A film as a file: GIF by Pillow, MP4 where ffmpeg is here."""

import tempfile
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

from matplotlib.animation import writers

from optimizer.base.atomic_files import write_whole
from optimizer.base.errors import UserInputError
from optimizer.reports.film.drawing import DPI, FRAME_S, Film, film, filmed
from optimizer.reports.style import styled
from plant.arrays import Floats
from plant.kernel.simulate import Ride

_EVERY = 2  # a frame of a file for so many of a film: 12.5 in a second
_WRITERS = {".gif": "pillow", ".mp4": "ffmpeg"}


def film_of(profiles: Mapping[str, Floats], ride: Ride) -> Film:
    """Return a ride of one or two profiles as a film.

    Parameters
    ----------
    profiles : mapping of name to (parameter,) float64
        The first is the one that it is about.
    ride : Ride
    """
    return film([filmed(name, profile, ride) for name, profile in profiles.items()])


def refuse_film(path: Path) -> None:
    """Refuse a file that can not become a film here.

    Raises
    ------
    UserInputError
        Its name ends otherwise, or ffmpeg is asked for and not here.
    """
    if path.suffix.lower() not in _WRITERS:
        raise UserInputError(f"{path}: a film is a .gif or a .mp4; name such a file")
    if not writers.is_available(_WRITERS[path.suffix.lower()]):
        raise UserInputError(
            f"{path}: a .mp4 needs the program ffmpeg, which is not found here; install it, or name"
            " a .gif"
        )


def write_film(
    shown: Film, path: Path, *, advance: Callable[[int, int], None] = lambda _done, _all: None
) -> None:
    """Write a film, whole and at the pace of the ride.

    Parameters
    ----------
    shown : Film
    path : Path
        Its suffix says what is written, .gif or .mp4.
    advance : callable, optional
        Told how many frames are drawn, and of how many, after each.

    Raises
    ------
    UserInputError
        Of `refuse_film`, or the file can not be written.
    """
    refuse_film(path)
    frames = [*range(0, shown.n_frames - 1, _EVERY), shown.n_frames - 1]
    per_s: Any = 1.0 / (_EVERY * FRAME_S)  # not a whole number, which the writers take as well
    writer = writers[_WRITERS[path.suffix.lower()]](fps=per_s)
    with tempfile.TemporaryDirectory() as folder, styled():
        drawn = Path(folder) / f"film{path.suffix.lower()}"
        with writer.saving(shown.figure, str(drawn), DPI):
            for n_before, frame in enumerate(frames):
                shown.show(frame)
                writer.grab_frame()
                advance(n_before + 1, len(frames))
        write_whole(path, drawn.read_bytes())
