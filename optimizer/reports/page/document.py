"""The page as one HTML document, and that as one file."""

import base64
import functools
import hashlib
import json
from collections.abc import Callable
from importlib.resources import files
from pathlib import Path
from typing import Any

from jinja2 import Environment, PackageLoader, StrictUndefined, Template
from markupsafe import Markup
from plotly.offline import get_plotlyjs

from optimizer.analysis.results import Results
from optimizer.base.atomic_files import write_whole
from optimizer.base.cautions import CAUTIONS, SHORT_CAUTION
from optimizer.reports.page.details import rides_and_loops, traces_that_fit
from optimizer.reports.page.facts import (
    candidate_facts,
    detailed_numbers,
    shown_numbers,
    study_facts,
)
from optimizer.reports.page.films import FILM_FACTS

MAX_BYTES = 15_000_000
_SPARE_BYTES = 200_000

_SCRIPTS = (
    "data",
    "plots",
    "look",
    "scatter",
    "parallel",
    "history",
    "filters",
    "film",
    "rides",
    "candidate",
    "pinned",
    "panel",
    "live",
    "main",
)
_FILM_SCRIPTS = ("data", "plots", "look", "film", "rides", "nose_downs")
# What could end the script element that holds the data, or begin another, is written as escapes.
_ESCAPED = ("<", ">", "&", "'", "\u2028", "\u2029")


def page_data(
    results: Results,
    *,
    extra: tuple[int, ...] = (),
    live: bool = False,
    advance: Callable[[int, int], None] = lambda _done, _wanted: None,
) -> dict[str, Any]:
    """Return everything that the page's script gets; the page stays below `MAX_BYTES`.

    Parameters
    ----------
    results : Results
    extra : tuple of int
        Candidates to show in detail before all others.
    live : bool
        Whether a server gives the traces of each candidate on demand.
    advance : callable, optional
        Told how many candidates are traced, and of how many, after each.
    """
    detailed = detailed_numbers(results, extra)
    payload = {
        **study_facts(results.study),
        **candidate_facts(results, shown_numbers(results, extra)),
        "details": rides_and_loops(results, detailed),
        **FILM_FACTS,
        "live": live,
        "caution": SHORT_CAUTION,
    }
    taken = len(get_plotlyjs()) + len(own_script()) + len(data_text(payload)) + _SPARE_BYTES
    traced = detailed[: 1 + len(extra) + len(results.picks)] if live else detailed
    payload["traces"] = traces_that_fit(results, traced, n_bytes=MAX_BYTES - taken, advance=advance)
    return payload


def write_page(path: Path, payload: dict[str, Any]) -> int:
    """Write the page, whole; return its size in bytes.

    Raises
    ------
    UserInputError
        The file can not be written.
    """
    content = page_document(payload).encode()
    write_whole(path, content)
    return len(content)


def data_text(payload: dict[str, Any]) -> str:
    """Return what the script gets as JSON that is safe inside a script element."""
    text = json.dumps(payload, ensure_ascii=False, allow_nan=False, separators=(",", ":"))
    for sign in _ESCAPED:
        text = text.replace(sign, f"\\u{ord(sign):04x}")
    return text


def page_document(payload: dict[str, Any]) -> str:
    """Return the page as HTML that needs nothing else; what comes from files is escaped."""
    return _document("page", payload, own_script(), live=payload["live"])


def nose_downs_document(payload: dict[str, Any]) -> str:
    """Return the page of a validation's nose-downs, of the same making."""
    return _document("nose_downs", payload, own_script(_FILM_SCRIPTS), live=False)


def _document(template: str, payload: dict[str, Any], own: str, *, live: bool) -> str:
    plotly = get_plotlyjs()
    return _template(template).render(
        payload,
        policy=_policy((plotly, own), live=live),
        cautions=CAUTIONS,
        style=Markup(_text("page.css")),  # noqa: S704  # the package's own
        plotly=Markup(plotly),  # noqa: S704  # the package's own
        script=Markup(own),  # noqa: S704  # the package's own
        data=Markup(data_text(payload)),  # noqa: S704  # escaped above
    )


def waiting_document(reason: str, *, again_s: int) -> str:
    """Return a page that says why there is nothing to see yet and asks again by itself."""
    return _template("waiting").render(reason=reason, again_s=again_s)


def _template(name: str) -> Template:
    environment = Environment(
        loader=PackageLoader("optimizer.reports.page"), autoescape=True, undefined=StrictUndefined
    )
    return environment.get_template(f"{name}.html.jinja")


@functools.cache
def own_script(names: tuple[str, ...] = _SCRIPTS) -> str:
    """Return the page's own script: its files one after the other, closed to the outside."""
    parts = [_text(f"{name}.js") for name in names]
    return "\n".join(["(() => {", '"use strict";', *parts, "})();", ""])


def _policy(scripts: tuple[str, ...], *, live: bool) -> str:
    """Return the rule by which a browser runs these scripts only and loads nothing else."""
    hashes = [
        f"'sha256-{base64.b64encode(hashlib.sha256(text.encode()).digest()).decode()}'"
        for text in scripts
    ]
    return (
        f"default-src 'none'; script-src {' '.join(hashes)}; style-src 'unsafe-inline';"
        f" img-src data: blob:; connect-src {chr(39)}{'self' if live else 'none'}{chr(39)};"
        " base-uri 'none'; form-action 'none'"
    )


def _text(name: str) -> str:
    return files("optimizer.reports.page").joinpath("static", name).read_text(encoding="utf-8")
