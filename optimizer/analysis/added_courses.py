"""A study file with the courses of another file behind it."""

from collections.abc import Collection
from pathlib import Path

from optimizer.base.errors import UserInputError
from optimizer.base.reading import read_text
from optimizer.base.toml_io import parse_toml


def with_courses(text: str, path: Path, *, riders: Collection[str], to: Path) -> str:
    """Return a study file's text with the courses of another file behind it.

    Parameters
    ----------
    text : str
    path : Path
        Of a file that holds nothing but courses, as a validation writes it.
    riders : collection of str
        Of the study.
    to : Path
        Of the study file, for messages.

    Raises
    ------
    UserInputError
        The file holds something else, a course of a name that is there, or a rider that is missing.
    """
    more = read_text(path)
    added = parse_toml(more, path=path)
    courses = added.get("courses")
    if set(added) != {"courses"} or not isinstance(courses, dict) or not courses:
        raise UserInputError(
            f"{path}: must hold courses and nothing else, as `levelgain validate` writes them to"
            f" NAME_falls.toml; got the keys {', '.join(added) or 'none'}"
        )
    for name, course in courses.items():
        named = course.get("riders", ()) if isinstance(course, dict) else ()
        for rider in named if isinstance(named, list) else ():
            if not isinstance(rider, str) or rider not in riders:
                raise UserInputError(
                    f"{path}: courses.{name}.riders: the study has no rider {rider!r}; take the"
                    " course out, or add the rider to the study first"
                )
    there = parse_toml(text, path=to).get("courses", {})
    twice = sorted(set(there) & set(courses))
    if twice:
        raise UserInputError(
            f"{path}: courses.{twice[0]}: the study has a course of that name already; rename one"
        )
    joined = f"{text.rstrip()}\n\n{more.strip()}\n"
    try:
        parse_toml(joined, path=to)
    except UserInputError:
        raise UserInputError(
            f"{to}: courses: must stand as a table [courses] for others to be added; write it so,"
            " then fork again"
        ) from None
    return joined
