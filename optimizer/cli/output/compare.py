"""Profiles side by side: their numbers, and the rides that each wins and loses."""

from collections.abc import Sequence
from pathlib import Path

from rich.console import Console

from optimizer.analysis.comparison import Comparison, changed_rides, in_words
from optimizer.analysis.felt_differences import felt_differences
from optimizer.analysis.nose_down_rates import objective_in_words
from optimizer.analysis.profile_source import named_profile
from optimizer.base.errors import UserInputError
from optimizer.cli.console import print_table
from optimizer.study.study import Study
from plant.description.profile import Profile
from plant.description.profile_array import array_to_profile

_MOST_RIDES = 3  # that a profile wins, and that it loses


def labelled_profiles(study: Study, texts: Sequence[str]) -> dict[str, Profile]:
    """Return profiles by labels that are all different.

    A file is labelled with the shortest end of its path that no other profile has.

    Parameters
    ----------
    study : Study
    texts : sequence of str
        Each "baseline", the number of a candidate, the name of a pick, or a file.

    Raises
    ------
    UserInputError
        One can not be read or found, or is given twice.
    """
    rows, sources = zip(*(named_profile(study, text) for text in texts), strict=True)
    _refuse_twice(texts, sources)
    parts = [source.parts if isinstance(source, Path) else (source,) for source in sources]
    labels = [_shortest_end(own, parts) for own in parts]
    return dict(zip(labels, map(array_to_profile, rows), strict=True))


def print_comparison(out: Console, found: Comparison) -> None:
    """Print the tables of a comparison, and the rides that change most."""
    out.print(
        "All on fresh noise and the hard rides of the re-evaluation, as `levelgain show` has them"
        " for re-evaluated candidates."
    )
    print_table(out, found.scores)
    out.print()
    print_table(out, found.nose_down_rates[[*_rates_shown(found)]])
    out.print(objective_in_words(found.study))
    out.print()
    print_table(out, found.handling_table)
    out.print()
    print_table(out, found.differences)
    for which in range(1, len(found.names)):
        out.print(f"\nWhat a rider feels of {found.names[which]} against {found.names[0]}:")
        for line in felt_differences(found.handling[0], found.handling[which]):
            out.print(f"- {line}")
        wins, losses = changed_rides(found, which, limit=_MOST_RIDES)
        for word, rides in (("better", wins), ("worse", losses)):
            out.print(f"\n{found.names[which]} is {word} than {found.names[0]} above all on:")
            for ride in rides:
                out.print(f"- {in_words(found, which, ride)}")


def comparison_facts(found: Comparison) -> dict[str, object]:
    """Return the tables of a comparison, and the rides that change most, for JSON."""
    changes = {}
    for which in range(1, len(found.names)):
        wins, losses = changed_rides(found, which, limit=_MOST_RIDES)
        changes[found.names[which]] = {
            "felt": felt_differences(found.handling[0], found.handling[which]),
            "wins": [in_words(found, which, ride) for ride in wins],
            "losses": [in_words(found, which, ride) for ride in losses],
        }
    return {
        "objectives": found.scores.to_dict(orient="records"),
        "nose_down_rates": found.nose_down_rates.to_dict(orient="records"),
        "handling": found.handling_table.to_dict(orient="records"),
        "parameters": found.differences.to_dict(orient="records"),
        "against_the_first": changes,
    }


def _rates_shown(found: Comparison) -> list[str]:
    """Return the columns that fit a terminal: no ends of the riders' intervals."""
    overall = ("profile", "low_per_1000_km", "high_per_1000_km")
    names = map(str, found.nose_down_rates.columns)
    return [name for name in names if name in overall or name.endswith("rate_per_1000_km")]


def _refuse_twice(texts: Sequence[str], sources: Sequence[str | Path]) -> None:
    real = [source.resolve() if isinstance(source, Path) else source for source in sources]
    for place, source in enumerate(real):
        first = real.index(source)
        if first < place:
            raise UserInputError(
                f"compare: {texts[place]} names the same profile as {texts[first]} before it;"
                " give each profile once"
            )


def _shortest_end(own: tuple[str, ...], all_parts: Sequence[tuple[str, ...]]) -> str:
    """Return the shortest end of a path, given in parts, that is the end of one path alone."""
    lengths = range(1, len(own))
    distinct = (
        length
        for length in lengths
        if sum(parts[-length:] == own[-length:] for parts in all_parts) == 1
    )
    return str(Path(*own[-next(distinct, len(own)) :]))
